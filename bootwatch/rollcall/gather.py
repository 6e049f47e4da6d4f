"""From mails to sightings; what can't be read is counted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from bootwatch.rollcall import mime
from bootwatch.rollcall.known import Known
from bootwatch.rollcall.letter import MOST_LETTERS, Letter
from bootwatch.rollcall.sighting import Sighting
from bootwatch.tell.part import open_part
from bootwatch.tell.plain import plain

# So that no flood of made-up machines takes the memory: proven ones are never left out.
_MOST_UNPROVEN = 20_000


@dataclass
class Gathered:
    """What a source held. ``unread``: what could not be used, counted by why."""

    sightings: list[Sighting] = field(default_factory=list)
    mails: int = 0
    unread: Counter[str] = field(default_factory=Counter)
    _unproven: int = 0

    def add(self, letter: Letter, known: Known) -> None:
        self.mails += 1
        if letter.unread:
            self.unread[f"mail {letter.unread}"] += 1
            return
        try:
            mail = mime.read(letter.data)
        except ValueError as error:
            self.unread[f"mail {error}"] += 1
            return
        for data in mail.parts if mail else ():
            self._add_part(data, mail, known)

    def _add_part(self, data: bytes, mail: mime.Mail | None, known: Known) -> None:
        try:
            sighting = Sighting.of(open_part(data), *((mail.came, mail.dated) if mail else ()))
        except ValueError as error:
            self.unread[f"part refused: {plain(str(error), 80)}"] += 1
            return
        if not known.is_proven(sighting.key, sighting.state.machine):
            self._unproven += 1
            if self._unproven > _MOST_UNPROVEN:
                self.unread["unproven part too many"] += 1
                return
        self.sightings.append(sighting)


def gather(letters: Iterable[Letter], known: Known) -> Gathered:
    """Raises what the source raises."""
    gathered = Gathered()
    for letter in letters:
        if gathered.mails >= MOST_LETTERS:
            gathered.unread[f"mails beyond the first {MOST_LETTERS}"] += 1
            break
        gathered.add(letter, known)
    return gathered
