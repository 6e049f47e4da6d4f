"""Whether Secure Boot, as it is set, lets a program run: UEFI 2.10 §32.5.3, in the order of the reference
firmware. Pure.

Signed: one signature by what dbx holds refuses the program, whatever else speaks for it; else one that leads
to db lets it run. Its digest in dbx refuses it, in db lets it run. Unsigned: its digest has to be in db.

What a loader starts may also go by keys of that loader's own: shim's, with the least generations that it asks
for (SbatLevelRT; where that mirror is absent they are unknown, not zero).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from bootwatch.formats import FormatError, TooLarge, sbat, shim_keys
from bootwatch.formats.pe import Image
from bootwatch.formats.sbat import SbatEntry
from bootwatch.judge.trust_image import Lists, look_at
from bootwatch.judge.trust_keys import EMPTY, Database
from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import State
from bootwatch.model.variable import IMAGE_SECURITY, SHIM_MIRROR, key

_OFF = b"\0"
_SHIM = "shim"


class Verdict(StrEnum):
    """The word is the same in JSON."""

    ALLOWED = "allowed"
    REFUSED = "refused"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class Trust:
    """``why`` is a clause; it may carry hostile characters."""

    verdict: Verdict
    why: str


@dataclass(frozen=True)
class Starter:
    """Another program that starts the one that is judged: whether it is a shim, and its own keys."""

    is_shim: bool = False
    takes: Database = EMPTY
    refuses: Database = EMPTY

    @classmethod
    def of(cls, image: Image) -> Starter:
        """What its sections say. One that can't be read brings nothing."""
        try:
            if not _is_shim(image.sbat):
                return cls()
            takes, refuses = shim_keys.parse(image.section(".vendor_cert") or b"")
        except FormatError:
            return cls(True, Database(is_whole=False))
        return cls(True, Database.of(takes), Database.of(refuses))


@dataclass(frozen=True)
class SecureBoot:
    """``is_on`` None: it could not be read. ``db`` and ``dbx`` are the firmware's, ``mok`` and ``mokx``
    shim's lists as it mirrors them; ``level`` is what generations shim asks for, None where nothing mirrors
    that. ``has_times``: the firmware knows who signs times (dbt)."""

    is_on: bool | None
    db: Database = EMPTY
    dbx: Database = EMPTY
    mok: Database = EMPTY
    mokx: Database = EMPTY
    level: tuple[SbatEntry, ...] | None = None
    has_times: bool = False

    @classmethod
    def of(cls, state: State, gaps: Sequence[Gap]) -> SecureBoot:
        """As a snapshot has it."""
        read = _Reading(state, gaps)
        level = read.value("SbatLevelRT", SHIM_MIRROR)
        return cls(
            is_on(state, gaps),
            read.database("db", IMAGE_SECURITY),
            read.database("dbx", IMAGE_SECURITY),
            read.database("MokListRT", SHIM_MIRROR),
            read.database("MokListXRT", SHIM_MIRROR),
            None if level is None else tuple(sbat.parse(level.decode("utf-8", "replace"))),
            read.value("dbt", IMAGE_SECURITY) is not None,
        )

    def judge(self, image: Image, starter: Starter | None = None) -> Trust:
        """Whether the firmware, or ``starter`` where that starts the program, would let it run."""
        if not self.is_on:
            return _NOT_READ if self.is_on is None else _ALL_RUN
        try:
            found = self._judged(image, starter)
            below = self._below_level(image, starter) if found.verdict is not Verdict.REFUSED else ""
        except TooLarge as error:
            return Trust(Verdict.UNKNOWN, str(error))
        except FormatError as error:
            return _refused(f"it is damaged: {error}")
        return _refused(below) if below else found

    def _judged(self, image: Image, starter: Starter | None) -> Trust:
        found = look_at(image, self._lists(starter))
        if found.revoked:
            return _refused(found.revoked)
        if found.doubt:
            return Trust(Verdict.UNKNOWN, found.doubt)
        if found.is_taken:
            return _ALLOWED
        if starter:
            return _OWN_KEYS
        return Trust(Verdict.UNKNOWN, found.why) if found.is_taken is None else _refused(found.why)

    def _lists(self, starter: Starter | None) -> Lists:
        takes, refuses = [("db", self.db)], [("dbx", self.dbx)]
        if starter and starter.is_shim:
            takes += [("MokListRT", self.mok), ("the shim", starter.takes)]
            refuses += [("MokListXRT", self.mokx), ("the shim", starter.refuses)]
        return Lists(takes, refuses, self.has_times)

    def _below_level(self, image: Image, starter: Starter | None) -> str:
        """Which generation of it shim finds too old; "" for none, or where shim isn't asked."""
        own = image.sbat
        if not self.level or not (_is_shim(own) or (starter and starter.is_shim)):
            return ""
        least = {one.component: one.generation for one in self.level}
        for one in own:
            asked = least.get(one.component, 0)
            if one.generation < asked:
                return f"shim asks for generation {asked} of {one.component}, and it is of {one.generation}"
        return ""


@dataclass(frozen=True)
class _Reading:
    state: State
    gaps: Sequence[Gap]

    def value(self, name: str, space: str) -> bytes | None:
        held = self.state.variables.get(key(name, space))
        return held.data if held else None

    def database(self, name: str, space: str) -> Database:
        data = self.value(name, space)
        if data is not None:
            return Database.parse(data)
        is_unread = any(gap.covers_variable(key(name, space)) for gap in self.gaps)
        return Database(is_there=is_unread, is_whole=not is_unread)


_ALL_RUN = Trust(Verdict.ALLOWED, "Secure Boot is off")
_ALLOWED = Trust(Verdict.ALLOWED, "")
_NOT_READ = Trust(Verdict.UNKNOWN, "whether Secure Boot is on could not be read")
_OWN_KEYS = Trust(Verdict.UNKNOWN, "what starts it may go by keys of its own")


def is_on(state: State, gaps: Sequence[Gap]) -> bool | None:
    """Whether the firmware checks programs at all; None where that could not be read."""
    variable = state.variable("SecureBoot")
    if variable is not None:
        return variable.data != _OFF
    return None if any(gap.covers_variable(key("SecureBoot")) for gap in gaps) else False


def _refused(why: str) -> Trust:
    return Trust(Verdict.REFUSED, why)


def _is_shim(entries: Sequence[SbatEntry]) -> bool:
    return any(one.component == _SHIM for one in entries)
