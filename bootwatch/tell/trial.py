"""The words of a test message."""

from __future__ import annotations

from dataclasses import dataclass

from bootwatch.addresses import READERS, Address
from bootwatch.model.care import Care
from bootwatch.model.level import Level
from bootwatch.tell import owner_trial
from bootwatch.tell.layout import wrapped
from bootwatch.tell.plain import plain
from bootwatch.tell.subject import of_machine

_WIDTH = 74
_WHAT = {
    Level.STRANDED: "only of systems that don't start any more",
    Level.DIVERTED: "when another system starts than expected, or one doesn't start any more",
    Level.WEAKENED: "of what makes a start less certain, and of all that is worse",
    Level.CHANGED: "of every change that is no routine",
    Level.ROUTINE: "of everything that changes, routine included",
}


@dataclass(frozen=True)
class Trial:
    """A subject and a text."""

    subject: str
    body: str


def trial(address: Address, machine: str, care: Care) -> Trial:
    """What ``address`` gets as a test, in its reader's words."""
    if address.reader != READERS[0]:
        title, sentences = owner_trial.owner_trial(care)
        return Trial(of_machine(machine, title), _laid_out(sentences))
    sentences = [
        f"This is a test. Nothing happened on {plain(machine, 60)}.",
        f'Messages to "{plain(address.name, 60)}" get through. This address is told {_WHAT[address.least]} '
        f"(least: {address.least.value}).",
        "Somebody asked for it there with: bootwatch alerts test",
    ]
    return Trial(of_machine(machine, "a test, nothing happened"), _laid_out(sentences))


def _laid_out(paragraphs: list[str]) -> str:
    return "\n".join("".join(f"{line}\n" for line in wrapped(one, _WIDTH)) for one in paragraphs)
