"""What is said of plans that no baseline bears out: missing entries, a second route, a trial."""

from __future__ import annotations

from typing import Any

from bootwatch.tell.layout import wrapped
from bootwatch.tell.phrases import counted, moment
from bootwatch.tell.plain import plain

Document = dict[str, Any]

_NAME = 60
_SIDE = 37
_HEADS = {
    "without-baseline": ("would give a way to what nothing leads to", "every system has a way of starting"),
    "add-route": ("would give {system} one more way of starting", "no further way for {system}"),
    "trial": ("would start {system} once", "no trial of {system}"),
}
_MEANT = {
    "without-baseline": "Worked out from what lies on this machine now; what was there before is not known.",
    "add-route": "A rehearsal of every single loss was held.",
    "trial": "Only the next start is another one: the boot order stays as it is.",
}
_AFTER = {
    "waiting": "No start was seen since. Ask again once the machine was started.",
    "proven": "It was really started by that entry: the route is proven.",
    "otherwise": "It was started by something else. The firmware did not take what it was asked for, or "
    "somebody chose another one in its menu.",
    "unseen": "bootwatch doesn't run in that system, so only somebody in front of the machine saw what came.",
}


def head(document: Document) -> tuple[str, str]:
    """What the plan would do, and from what it was worked out."""
    kind, steps = document["kind"], len(document["steps"])
    some, none = _HEADS[kind]
    system = plain(str(document["system"]), _NAME)
    said = f"{counted(steps, 'step')} {some}" if steps else none
    remedy = plain(str(document.get("remedy", "")), 500)
    named = f" It names: {remedy}." if remedy else ""
    return said.format(system=system), _MEANT[kind] + named


def noted(document: Document, width: int) -> list[str]:
    lines = [
        line for one in document.get("noted", []) for line in wrapped(plain(str(one), 500), width, "  - ")
    ]
    return ["Also seen", "", *lines] if lines else []


def points(document: Document, width: int) -> list[str]:
    """The single losses that do something to the system, without and with the further way, side by side."""
    both = document.get("single_points")
    if not both or not document["steps"]:
        return []
    before, after = both["before"], both["after"]
    kept = {one["loss"]: one["effect"] for one in after}
    lines = [f"  {f'now: {len(before)}':<{_SIDE}}  after this: {len(after)}", ""]
    for one in before:
        then = kept.pop(one["loss"], "no longer one")
        lines += _side_by_side(f"{one['loss']}: {one['effect']}", then, width)
    for loss, effect in kept.items():
        lines += _side_by_side("", f"{loss}: {effect}", width)
    system = plain(str(document["system"]), _NAME)
    return [f"Single losses that do something to {system}", "", *lines]


def _side_by_side(one: str, other: str, width: int) -> list[str]:
    left = wrapped(plain(one, 500), _SIDE) if one else []
    right = wrapped(plain(other, 500), max(width - _SIDE - 4, 20))
    rows = max(len(left), len(right))
    left, right = (side + [""] * (rows - len(side)) for side in (left, right))
    return [f"  {mine:<{_SIDE}}  {its}".rstrip() for mine, its in zip(left, right, strict=True)]


def trial_report(document: Document, width: int = 80) -> str:
    """What came of the last trial. Ends with a newline."""
    label, system = (plain(str(document[name]), _NAME) for name in ("label", "system"))
    asked = f'{system} was asked for once, by "{label}" ({document["entry"]}), {moment(document["asked"])}.'
    lines = [*wrapped(asked, width), *wrapped(_AFTER[document["result"]], width)]
    by = document.get("started_by")
    if by:
        what = ", ".join(plain(str(by[name]), 200) for name in ("entry", "volume", "file") if by[name])
        when = f"snapshot {document['snapshot']}, {moment(document['time'])}"
        lines += wrapped(
            f"The next start that was seen ({when}) came by {what or 'nothing that is known'}.", width
        )
    between = document.get("starts_between")
    if between:
        said = f"The TPM counted {counted(between, 'start')} in between that bootwatch did not see"
        hint = f": {system}, if somebody saw it come up." if document["result"] == "unseen" else "."
        lines += wrapped(said + hint, width)
    return "\n".join(lines) + "\n"
