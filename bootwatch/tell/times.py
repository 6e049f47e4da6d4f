"""When changes happened and what is known of that time: once for each time, however many changes it has."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from bootwatch.model.change import Change, Custody
from bootwatch.tell import phrases
from bootwatch.tell.layout import wrapped
from bootwatch.tell.plain import plain

_MOST = 12
_SENTENCE = 500
NOTHING = "Nothing more is known of that time."
_KNOWN = "What is known of that time:"


@dataclass(frozen=True)
class Time:
    """The time between two snapshots: ``when`` as a phrase, ``since`` as a sentence, ``known`` what else is
    known of it, a sentence each."""

    when: str
    since: str
    known: tuple[str, ...]

    @classmethod
    def of(cls, change: Change) -> Time:
        known = tuple(plain(one.sentence, _SENTENCE) for one in change.evidence if one.sentence.strip())
        if not known and change.custody is Custody.UNKNOWN:
            known = (NOTHING,)
        return cls(phrases.when(change), phrases.since(change), known)

    def pieces(self, since: str = "") -> tuple[str, tuple[str, ...]]:
        """The same as a sentence, or ``since`` instead of it, and what is known in sentences of its own."""
        said = since or self.since
        if self.known == (NOTHING,):
            return f"{said} {NOTHING}", ()
        left = len(self.known) - _MOST
        more = (f"and {left} more: --json lists them all",) if left > 0 else ()
        return (f"{said} {_KNOWN}" if self.known else said), (*self.known[:_MOST], *more)

    def lines(self, width: int, since: str = "") -> list[str]:
        """The same, laid out; all of it said in full."""
        said, known = self.pieces(since)
        return wrapped(said, width) + [line for one in known for line in wrapped(one, width, "  - ")]

    def bullets(self, width: int, first: str) -> list[str]:
        """What is known, a piece each, beginning with ``first``."""
        lines = [line for one in self.known[:_MOST] for line in wrapped(one, width, first)]
        left = len(self.known) - _MOST
        return lines + (wrapped(f"and {left} more: --json lists them all", width, first) if left > 0 else [])


def times(changes: Iterable[Change]) -> list[Time]:
    """The times of ``changes``, each once, in their order."""
    return list(dict.fromkeys(Time.of(change) for change in changes))
