"""What was written, where it stopped, what would be taken back, as a technician reads it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from bootwatch.tell.layout import wrapped
from bootwatch.tell.phrases import counted, moment
from bootwatch.tell.plain import plain

Document = dict[str, Any]

_WIDTH = 80
_CUT_OFF = {"what": "what was being written when it was stopped or cut off, as far as it was"}


def stopped_report(document: Document, again: str) -> str:
    """What was done before it stopped and what was not, and what to do. ``again`` is the command that was
    given. Ends with a newline."""
    if document["undoing"]:
        done, left = "Taken back, and read back", "Not taken back"
        advice = ["Run it again once that is put right: what is taken back already counts as such."]
    else:
        done, left = "Written, and read back", "Not written"
        advice = [
            f"To go on, once that is put right: {again}",
            f"To have it as it was before: {again} --undo",
        ]
    lines = wrapped(plain(str(document["problem"]), 1000), _WIDTH)
    lines += wrapped(plain(str(document["hint"]), 1000), _WIDTH) if document["hint"] else []
    lines += [*_listed(done, document["done"]), *_listed(left, document["left"]), ""]
    return "\n".join([*lines, *(line for one in advice for line in wrapped(one, _WIDTH))]) + "\n"


def offer_to_undo(restores: Sequence[Document]) -> str:
    """What would be taken back. Ends with a newline."""
    lines = []
    for one in restores:
        number, by = one["restore"], plain(str(one["by"]), 60)
        cut_off = [] if one["finished"] else [_CUT_OFF]
        lines += _listed(f"Restore {number} of {moment(str(one['began']))}, by {by}", cut_off + one["steps"])
    return "\n".join(["What would be taken back, the last one first", *lines]) + "\n"


def undone_report(document: Document, look: str) -> str:
    """What was taken back and what stays; ``look`` shows how the machine is now. Ends with a newline."""
    named = " and ".join(f"restore {number}" for number in document["restores"])
    lines = [f"Taken back: {counted(len(document['steps']), 'step')} of {named}."]
    if document["stay"]:
        lines += _listed("It stays as it is, since somebody changed it meanwhile", document["stay"])
    return "\n".join([*lines, f"Look: {look}"]) + "\n"


def _listed(title: str, steps: Iterable[Document]) -> list[str]:
    lines = [line for step in steps for line in wrapped(plain(str(step["what"]), 1000), _WIDTH, "  - ")]
    return ["", f"{title}:", *(lines or ["  - nothing"])]
