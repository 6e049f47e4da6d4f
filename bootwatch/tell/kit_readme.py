"""README.txt of a recovery kit: what it is, the first step, what to take care of."""

from __future__ import annotations

from typing import Any

from bootwatch.tell.layout import wrapped
from bootwatch.tell.made_anew import made_anew_lines
from bootwatch.tell.phrases import moment
from bootwatch.tell.plain import plain
from bootwatch.tell.restore_report import CARE

_WIDTH = 80
_SHEETS = (
    "On paper, for when no screen helps: sheet.txt and sheet.html (the same to print) name every way back, "
    "step by step; owner.txt and owner.html are one page for the machine's owner."
)
_STARTS = (
    "With no system at all: switch on with this stick in, and choose the stick in the firmware's own menu "
    "(its key is in the maker's manual). A UEFI shell starts, finds this kit, says what is missing, and asks "
    "for a key before it writes."
)
_SHELL = (
    "With no system at all: start a UEFI shell, change to this folder, and type startup.nsh. A stick starts "
    "one by itself if it was made so: bootwatch baseline export --to STICK --with-shell"
)


def readme(about: dict[str, Any], *, starts: bool) -> str:
    """In text lines that any program shows; ``about`` is what about.json says. ``starts``: it lies on a stick
    that starts a UEFI shell."""
    machine, baseline = plain(about["machine"]), about["baseline"]
    reason = plain(baseline["reason"])
    paragraphs = [
        f'Recovery kit of the machine "{machine}", made {moment(about["made"])}.',
        f"It holds what that machine starts from, as it was called good {moment(baseline['saved'])} "
        f'("{reason}"): the firmware\'s variables, the loaders and settings of its boot volumes, its '
        "partition tables. No system and none of anybody's files are in it.",
    ]
    first = (
        "First step: start the machine from any live system that has Python 3.11 or newer (or from a system "
        "of its own that still starts), open this folder in a terminal, and run"
    )
    lines = [line for one in paragraphs for line in (*wrapped(one, _WIDTH), "")]
    lacking = made_anew_lines(about["without_files"], "Not in it either", _WIDTH)
    lines += [*lacking, ""] if lacking else []
    lines += [*wrapped(first, _WIDTH), "", "    sudo python3 bootwatch.pyz restore --kit .", ""]
    lines += wrapped(
        "It says what it would do, and changes nothing. With --write behind it, it asks and does it; what "
        "is there now is kept, and --undo brings it back.",
        _WIDTH,
    )
    lines += ["", *wrapped(_SHEETS, _WIDTH), "", *wrapped(_STARTS if starts else _SHELL, _WIDTH)]
    lines += ["", "Whether the kit is whole:  sha256sum -c SHA256SUMS", "", "Take care", ""]
    lines += [line for one in CARE for line in wrapped(one, _WIDTH, "  - ")]
    return "\n".join(lines) + "\n"
