"""A restore as a technician reads it: what would be written and why, and what starts before and after."""

from __future__ import annotations

import re
from typing import Any

from bootwatch.judge.meanings.common import MANUAL, SEALED
from bootwatch.tell.layout import wrapped
from bootwatch.tell.phrases import counted, moment, reading
from bootwatch.tell.plain import plain
from bootwatch.tell.proposal_report import head, noted, points
from bootwatch.tell.routes_words import joined
from bootwatch.tell.trust_words import trust_lines

Document = dict[str, Any]

_NAME = 60
_MOST_LEFT = 20
_PART_NAME = re.compile(r"(?:gpt|mbr):([0-9a-f-]+)")
CARE = (
    SEALED,
    "Before anything is written, restart the other system once in full and shut it down from there: one that "
    "is only hibernated still holds its partitions in use.",
    "Let the machine run on mains power until it is done.",
    "A firmware may drop what was written: look again after the next start.",
    MANUAL,
)
_OLD_NAMES = (
    "What names such a volume by its former identifier (the system table of mounts, a start menu's settings) "
    "is mended by hand."
)
# Names of changes that say that something is gone.
_LOSSES = ("-missing", "-emptied", "-reformatted")
_WITHOUT_TRUST = "(Secure Boot is not reckoned with here: see above.)"
# What somebody may copy and run as root is shown in one line, and nothing else is: a reader wrote it.
_PART = r"/dev/disk/by-partuuid/[0-9a-f-]+"
_COMMAND = re.compile(
    rf'sudo sfdisk --part-type "/dev/\$\(lsblk -ndo PKNAME {_PART}\)" [0-9]+ [0-9a-f-]+'
    rf"|sudo mkfs\.fat( -F [0-9]+)? -i [0-9a-fA-F]+ {_PART}"
)
_HOW = {
    "by itself": "starts when what is tried before it fails",
    "on request": "starts only when somebody chooses it",
    "not at all": "does not start",
    "not known": "is not known to start or not to start",
}


def restore_report(document: Document, width: int = 80, *, hint: str = "") -> str:
    """What would be done, what not, what starts before and after, what to take care of. Ends with a newline.
    ``hint``: the command that has it done, without --write."""
    is_to_be_written = document["steps"] and not hint
    parts = [
        _head(document, width, "Nothing was written yet." if is_to_be_written else "Nothing was written."),
        _last(document, width),
        _moves(document, width),
        _questions(document, width),
        _steps(document, width),
        trust_lines(document.get("secure_boot", []), width),
        _left(document, width),
        noted(document, width),
        points(document, width),
        _starts(document, width),
        _care(document, width),
        _hint(document, width, hint) if hint else [],
    ]
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def _head(document: Document, width: int, so_far: str) -> list[str]:
    machine, steps = plain(str(document["machine"]), _NAME), len(document["steps"])
    compared = f"{reading(document['snapshot'])}, {moment(str(document['time']))}"
    if document["baseline"] is None:
        said, meant = head(document)
        lines = wrapped(f"{machine}: {said}. {so_far}", width)
        return lines + wrapped(f"{meant} Looked at: {compared}.", width)
    loses = bool(document["questions"]) or any(_is_loss(one) for one in document["left"])
    said = _outcome(steps, loses, is_asked=bool(document["questions"]))
    baseline = document["baseline"]
    reason = f' ("{plain(str(baseline["reason"]))}")' if baseline["reason"] else ""
    lines = wrapped(f"{machine}: {said}. {so_far}", width)
    return lines + wrapped(
        f"From the baseline of {moment(str(baseline['saved']))}{reason}, for {compared}.", width
    )


def _outcome(steps: int, loses: bool, *, is_asked: bool) -> str:
    if not steps and is_asked:
        return "what can be brought back depends on what is asked below"
    if not steps:
        return "what was lost can't be brought back by this" if loses else "nothing to bring back"
    return f"{counted(steps, 'step')} would bring back {'part of ' if loses else ''}what was lost"


def _is_loss(left: Document) -> bool:
    return str(left.get("change")).endswith(_LOSSES)


def _last(document: Document, width: int) -> list[str]:
    """What became of the restore before: whether it came to its end, and what the firmware made of it."""
    last = document.get("last")
    if last is None:
        return []
    named = f"Restore {last['restore']} of {moment(str(last['began']))}"
    lines = []
    if not last["finished"]:
        lines += wrapped(
            f"{named} was stopped or cut off after {counted(last['written'], 'step')}. What follows goes on "
            "with it; --undo takes back both.",
            width,
        )
    if last["dropped"]:
        since = "after the next start, " if last["started"] else ""
        lines += wrapped(f"{named}: {since}this is no longer as it was written:", width)
        lines += [line for one in last["dropped"] for line in wrapped(plain(str(one), 1000), width, "  - ")]
    elif last["unknown"]:
        lines += wrapped(f"{named}: whether all is as it was written can't be told now.", width)
    elif last["started"] and last["written"]:
        lines += wrapped(f"{named}: the machine was started since, and all is as it was written.", width)
    return lines


def _moves(document: Document, width: int) -> list[str]:
    """Volumes that are elsewhere, and what this doesn't mend."""
    lines: list[str] = []
    for one in document["moves"]:
        said = f"{plain(one['was'])} is {plain(one['now'])}: {one['how']}."
        lines += wrapped(
            said if one["was"] != one["now"] else f"{plain(one['was'])}: {one['how']}.", width, "  - "
        )
    if any(one["was"] != one["now"] for one in document["moves"]):
        lines += wrapped(_OLD_NAMES, width, "  ")
    return ["Boot volumes that are elsewhere than in the baseline", "", *lines] if lines else []


def _questions(document: Document, width: int) -> list[str]:
    """Boot volumes that may be others of the baseline's: nothing is taken for granted."""
    lines: list[str] = []
    for one in document["questions"]:
        lines += wrapped(question(one), width, "  - ")
        lines += [f"    If so, add: --map {plain(one['was'])}={plain(one['now'])}"]
    return ["To be said by somebody who knows", "", *lines] if lines else []


def question(one: Document) -> str:
    """Whether a boot volume of the baseline is one of today."""
    label = f' "{plain(one["label"], _NAME)}"' if one["label"] else ""
    why = plain(one["why"], 200)
    return f"The boot volume{label} {plain(one['was'])} isn't found. Is it {plain(one['now'])} now ({why})?"


def _steps(document: Document, width: int) -> list[str]:
    lines: list[str] = []
    for number, step in enumerate(document["steps"], 1):
        lines += ["", *wrapped(_deed(document, step), width, f"{number:3}. ")]
        lines += wrapped(plain(str(step["why"]), 500), width, "     ")
        lines += wrapped(_over(step), width, "     ")
    return ["What would be written", *lines] if lines else []


def _deed(document: Document, step: Document) -> str:
    if step["step"] != "write-file":
        return plain(str(step["what"]), 1000) + "."
    label = plain(str(document["volumes"].get(step["volume"]) or ""), _NAME)
    where = f'the boot volume "{label}"' if label else f"the boot volume {plain(str(step['volume']))}"
    verb = "put back" if document["baseline"] else "put a copy at"
    return f"{verb} {plain(str(step['path']))} on {where}."


def _over(step: Document) -> str:
    if step["step"] == "write-file":
        now = (
            "What lies there now is kept and can be put back." if step["over"] else "Nothing lies there now."
        )
        return f"{step['size']:,} bytes. {now}"
    if step["step"] == "write-order":
        return f"Now it is {', '.join(map(plain, step['over'])) or 'empty'}."
    if step["step"] == "write-entry":
        return "The entry as it is now is kept." if step["over"] else "No entry has that number now."
    if step["step"] == "set-type":
        return f"Now it is {plain(str(step['over']), 60)}. Nothing else in the partition table is written."
    if step["step"] == "set-next" and step["over"] is None:
        return "Nothing is asked for now."
    return "What is asked for now is kept and can be put back."


def _left(document: Document, width: int) -> list[str]:
    lines: list[str] = []
    for one in document["left"][:_MOST_LEFT]:
        command = str(one.get("command") or "")
        if not _COMMAND.fullmatch(command):
            command = ""
        said = f"{plain(str(one['what']))}: {plain(str(one['why']), 500)}{':' if command else '.'}"
        lines += [*wrapped(said, width, "  - "), *([f"    {command}"] if command else [])]
    if len(document["left"]) > _MOST_LEFT:
        lines.append(f"  - and {len(document['left']) - _MOST_LEFT} more (with --json all)")
    title = "Not undone by this" if document["baseline"] else "Not done by this"
    return [title, "", *lines] if lines else []


def _starts(document: Document, width: int) -> list[str]:
    now = {one["name"]: _how(one, document["now"]) for one in document["now"]["systems"]}
    lines = ["What starts", ""]
    for one in document["then"]["systems"]:
        name, then = plain(str(one["name"]), _NAME), _how(one, document["then"])
        before = now.get(one["name"], _HOW["not at all"])
        said = then if before == then else f"now it {before}; after this it {then}"
        lines += wrapped(f"{name}: {said}", width, "  ")
    before, after = _next(document["now"]), _next(document["then"])
    said = after if before == after else f"{before} now, {after} after this"
    lines += wrapped(f"next start: {said}", width, "  ")
    is_doubtful = bool(document.get("secure_boot"))
    return lines + (wrapped(_WITHOUT_TRUST, width, "  ") if is_doubtful else [])


def _how(system: Document, starts: Document) -> str:
    is_next = system["how"] == "by itself" and system["name"] == starts["next"]
    return "starts next" if is_next else _HOW[system["how"]]


def _next(starts: Document) -> str:
    return plain(str(starts["next"]), _NAME) if starts["next"] else f"no known system ({starts['by']})"


def _care(document: Document, width: int) -> list[str]:
    if not document["steps"]:
        return []
    return ["Take care", "", *(line for one in cautions(document) for line in wrapped(one, width, "  - "))]


def cautions(document: Document) -> list[str]:
    """What to take care of before a plan is carried out."""
    return [*(_unclosed(document, plain(one)) for one in document.get("dirty", ())), *CARE]


def _unclosed(document: Document, volume: str) -> str:
    label = plain(str(document["volumes"].get(volume) or ""), _NAME)
    named = f'The boot volume "{label}"' if label else f"The boot volume {volume}"
    known = _PART_NAME.fullmatch(volume)
    device = f"/dev/disk/by-partuuid/{known[1]}" if known else "DEVICE"
    return (
        f"{named} is marked as not closed (dirty): the system that had it may only be hibernated, or lost "
        "its power. Start that one and shut it down in full, or look first, while it isn't mounted: "
        f"sudo fsck.fat -n {device}. It can be written all the same."
    )


def _hint(document: Document, width: int, command: str) -> list[str]:
    if not document["steps"]:
        return []
    said = f"To have it written: sudo {command} --write"
    # A command stays in one piece: it is copied.
    return [said] if len(said) <= width else ["To have it written:", f"  sudo {command} --write"]


def done_lines(number: int, steps: int, restore: str, look: str) -> list[str]:
    """What is said once all is written; ``restore`` and ``look``, what tells how it went, as they are called
    here."""
    return [
        f"Written and read back: {counted(steps, 'step')} (restore {number}).",
        f"Look again after the next start: {look}",
        f"To take it back: sudo {restore} --undo",
    ]


def names(systems: list[str]) -> str:
    """As in a sentence."""
    return joined(plain(name, _NAME) for name in systems)
