"""A recovery kit as a technician reads of it: what was written, what it lacks, what it would bring back."""

from __future__ import annotations

from typing import Any

from bootwatch.tell.layout import wrapped
from bootwatch.tell.phrases import counted, moment
from bootwatch.tell.plain import plain

_PATH = 4000
Document = dict[str, Any]


def exported_report(place: str, files: int, size: int, about: Document, width: int = 80) -> str:
    """Ends with a newline."""
    baseline = about["baseline"]
    lines = [f"The recovery kit of {plain(about['machine'])} was written and read back:"]
    lines += [f"  {plain(place, _PATH)}", ""]
    lines += wrapped(
        f"{counted(files, 'file')}, {_size(size)}, from the baseline of {moment(baseline['saved'])} "
        f'("{plain(baseline["reason"])}").',
        width,
    )
    lines += lacking(about, width)
    lines += ["", *wrapped("Would it bring every system back? bootwatch baseline export --check KIT", width)]
    return "\n".join(lines) + "\n"


def lacking(about: Document, width: int) -> list[str]:
    """What of the boot volumes' programs it has no copy."""
    missing = about["without"]
    if not missing:
        return []
    lines = ["", f"No copy was kept of {counted(len(missing), 'program')}:"]
    for one in missing[:20]:
        lines += wrapped(f"{plain(one['path'])} on {plain(one['volume'])}", width, "  - ")
    if len(missing) > 20:
        lines.append(f"  and {len(missing) - 20} more")
    return [*lines, *wrapped("The next baseline keeps one: sudo bootwatch baseline save", width)]


def _size(size: int) -> str:
    return f"{size / (1 << 20):.1f} MiB" if size >= 1 << 20 else f"{size / 1024:.0f} KiB"
