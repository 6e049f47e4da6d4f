"""A recovery kit as a technician reads of it: what was written, what it lacks, what it would bring back."""

from __future__ import annotations

from typing import Any

from bootwatch.tell.layout import wrapped
from bootwatch.tell.made_anew import made_anew_lines
from bootwatch.tell.phrases import counted, moment, reading
from bootwatch.tell.plain import plain
from bootwatch.tell.routes_words import joined
from bootwatch.tell.trust_words import trust_lines

_PATH = 4000
_BACK = {True: "yes", None: "not known", False: "no"}
Document = dict[str, Any]


def exported_report(document: Document, check: str, width: int = 80) -> str:
    """``check`` is the command that tries it, in one line. Ends with a newline."""
    about, files, size = document["about"], document["files"], document["size"]
    baseline = about["baseline"]
    lines = [f"The recovery kit of {plain(about['machine'])} was written and read back:"]
    lines += [f"  {plain(document['kit'], _PATH)}", ""]
    lines += wrapped(
        f"{counted(files, 'file')}, {_size(size)}, from the baseline of {moment(baseline['saved'])} "
        f'("{plain(baseline["reason"])}").',
        width,
    )
    lines += lacking(about, width)
    if document["stick"]:
        lines += ["", *_stick(document["stick"], width)]
    lines += ["", "Would it bring every system back?", f"  {plain(check, _PATH)}"]
    return "\n".join(lines) + "\n"


def _stick(stick: Document, width: int) -> list[str]:
    """What was placed, and what this machine's firmware would do with it."""
    lines = wrapped(
        f"The stick starts a UEFI shell: {plain(stick['shell'], _PATH)} was placed as {stick['as']}, with "
        "two startup.nsh that find the right kit and ask for a key before anything is written.",
        width,
    )
    chosen, itself = stick["chosen"], stick["by_itself"]
    lines += _said("This firmware would start it when it is chosen in its menu", chosen, width)
    if chosen["starts"] is not False:
        lines += _said("By itself at the next start", itself, width)
        if itself["starts"] is False and stick["at_last"]:
            lines += wrapped(
                "Where nothing else starts any more, the firmware comes to it by itself.", width, "  "
            )
    return lines


def _said(what: str, answer: Document, width: int) -> list[str]:
    return wrapped(f"{what}: {_BACK[answer['starts']]}, {plain(answer['why'], 500)}.", width, "  ")


def checked_report(document: Document, width: int = 80) -> str:
    """What the kit brings back after each loss, and what it doesn't. Ends with a newline."""
    about, baseline = document["about"], document["about"]["baseline"]
    lines = wrapped(f"The kit {plain(document['kit'], _PATH)} is whole.", width)
    lines += wrapped(
        f"It is of {plain(about['machine'])}, made {moment(about['made'])} from the baseline of "
        f'{moment(baseline["saved"])} ("{plain(baseline["reason"])}"): {document["words"]}.',
        width,
    )
    if not document["is_current"]:
        lines += wrapped(
            "The baseline was saved anew since. Make a new kit: sudo bootwatch baseline export --to FOLDER",
            width,
        )
    lines += lacking(about, width)
    tried = f"{reading(document['snapshot'])}, {moment(str(document['time']))}"
    lines += ["", *wrapped(f"Tried on {tried}: what is lost, and what it brings back", width)]
    for back in (False, None, True):
        lines += _losses([one for one in document["losses"] if one["back"] is back], width)
    trust = trust_lines(document["secure_boot"]["doubtful"], width)
    lines += ["", *trust] if trust else []
    return "\n".join([*lines, "", *_verdict(document, width)]) + "\n"


def _losses(losses: list[Document], width: int) -> list[str]:
    """Those of one verdict: the words stand in front, so that a column of them can be read down."""
    lines: list[str] = [""] if losses else []
    for one in losses:
        said = f" ({one['first']})" if one["first"] else ""
        why = f"; {plain(str(one['why']), 500)}" if one["why"] else ""
        lines += wrapped(f"{plain(one['what'], 500)}{said}{why}", width, f"  {_BACK[one['back']]:9} ")
    return lines


def _verdict(document: Document, width: int) -> list[str]:
    systems = joined(plain(name, 60) for name in document["systems"])
    said = {
        True: f"It brings {systems} back: yes, after every loss but that of a disk.",
        None: f"Whether it brings {systems} back can't be told of every loss: see above.",
        False: f"It does not bring {systems} back after every loss: see above.",
    }[document["back"]]
    return wrapped(said, width)


def lacking(about: Document, width: int) -> list[str]:
    """What can't be brought back with it: files that are in no kit, and programs whose copy is lacking."""
    missing = about["without"]
    lines = made_anew_lines(about["without_files"], "Not in it", width)
    lines = ["", *lines] if lines else []
    if not missing:
        return lines
    lines += ["", f"No copy was kept of {counted(len(missing), 'program')}:"]
    for one in missing[:20]:
        lines += wrapped(f"{plain(one['path'])} on {plain(one['volume'])}", width, "  - ")
    if len(missing) > 20:
        lines.append(f"  and {len(missing) - 20} more")
    return [
        *lines,
        *wrapped("The next baseline keeps one: sudo bootwatch baseline save --reason TEXT", width),
    ]


def _size(size: int) -> str:
    return f"{size / (1 << 20):.1f} MiB" if size >= 1 << 20 else f"{size / 1024:.0f} KiB"
