"""What is known of the time between two snapshots, besides who had the machine."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from bootwatch.judge.entries import entry_name
from bootwatch.model.attempt import Attempt, Origin
from bootwatch.model.change import Custody
from bootwatch.model.evidence import Evidence, Trace
from bootwatch.model.package import PackageChange
from bootwatch.model.snapshot import Circumstance

_MOST = 4
_LONGEST = 80


@dataclass(frozen=True)
class Span:
    """The time from the last snapshot without a change to the first one with it.

    ``looks`` are the circumstances of all snapshots from the one to the other, both included; none where the
    change was there from the beginning. ``firmware`` is how the firmware calls itself at both ends, "" for
    unknown; ``capsule``: a firmware update was waiting at the beginning; ``touched`` are other systems whose
    files, of those that change at their starts, were written in between.
    """

    looks: tuple[Circumstance, ...] = ()
    custody: Custody = Custody.UNKNOWN
    firmware: tuple[str, str] = ("", "")
    capsule: bool = False
    touched: tuple[str, ...] = ()

    @property
    def packages(self) -> tuple[PackageChange, ...]:
        """What this system's package manager did in that time."""
        return tuple(change for look in self.looks[1:] for change in look.packages)

    @property
    def is_new_start(self) -> bool:
        """Whether the machine was started in between."""
        ends = [look.boot_id for look in (*self.looks[:1], *self.looks[-1:])]
        return len(ends) == 2 and None not in ends and ends[0] != ends[1]

    @property
    def unseen_starts(self) -> int | None:
        """How often the machine was started in that time without being looked at; None where that isn't
        known."""
        return unseen_starts(self.looks) if self.looks else None


def evidence(span: Span) -> tuple[Evidence, ...]:
    """What is known, the surest first; empty where nothing is."""
    return tuple(_evidence(span)) if len(span.looks) > 1 else ()


def _evidence(span: Span) -> Iterator[Evidence]:
    yield from _starts(span)
    if span.touched:
        names = _listed(span.touched)
        yield Evidence(Trace.FILES_TOUCHED, f"Files that {names} writes at its starts were written.")
    if span.capsule:
        said = "A firmware update was waiting to be carried out at the next start."
        yield Evidence(Trace.CAPSULE_WAITED, said)
    before, after = span.firmware
    if before and after and before != after:
        yield Evidence(Trace.FIRMWARE_CHANGED, f"The firmware was updated, from {before} to {after}.")
    if span.is_new_start:
        yield from _log(span.looks[-1])
    if span.packages:
        yield Evidence(Trace.PACKAGES, packages_sentence(span.packages))


def _starts(span: Span) -> Iterator[Evidence]:
    unseen = span.unseen_starts
    if unseen is None or (unseen == 0 and not span.is_new_start):
        return
    if unseen:
        starts = "one start" if unseen == 1 else f"{unseen} starts"
        yield Evidence(Trace.STARTS_UNSEEN, f"The TPM counted {starts} that this system did not see.")
    else:
        said = "The TPM counted no start that this system did not see: no other one ran in between."
        yield Evidence(Trace.NO_OTHER_START, said)


def unseen_starts(looks: tuple[Circumstance, ...]) -> int | None:
    """How often the machine was started in between without being looked at, by the TPM's count; None where
    that isn't known (no TPM, or its count was cleared).

    Told from count to count: a kernel that started the next one itself is a start that the TPM didn't count,
    and stands for none that it did.
    """
    if None in (looks[0].tpm_resets, looks[-1].tpm_resets, *(look.boot_id or None for look in looks)):
        return None
    unseen, starts = 0, 0
    count = looks[0].tpm_resets or 0
    for before, look in pairwise(looks):
        starts += look.boot_id != before.boot_id
        if look.tpm_resets is None:
            continue
        if look.tpm_resets < count:
            return None
        unseen += max(look.tpm_resets - count - starts, 0)
        count, starts = look.tpm_resets, 0
    return unseen


def _log(now: Circumstance) -> Iterator[Evidence]:
    """What the firmware's own log says of this start."""
    tried = [attempt for attempt in now.attempts if attempt.returned]
    ran = [attempt for attempt in now.attempts[-1:] if not attempt.returned]
    if tried:
        what = _listed(tuple(_program(attempt) for attempt in tried))
        yield Evidence(Trace.FAILED_FIRST, f"At this start the firmware first tried {what}, in vain.")
    if ran:
        yield Evidence(Trace.REALLY_RAN, f"At this start the firmware ran {_program(ran[0])}.")
    if now.order_seen is not None:
        names = _listed(tuple(map(entry_name, now.order_seen))) or "nothing"
        yield Evidence(Trace.ORDER_SEEN, f"The boot order that it went by then was {names}.")


def _program(attempt: Attempt) -> str:
    return _origin(attempt.loader) if attempt.loader else "an entry without a program"


def _origin(origin: Origin) -> str:
    parts = (part[:_LONGEST] for part in (origin.file, origin.volume) if part)
    return " on ".join(parts) or "a program that its log doesn't name"


def packages_sentence(changes: tuple[PackageChange, ...]) -> str:
    """What the package manager did, in one sentence: the first packages by name."""
    names = _listed(tuple(dict.fromkeys(_package(change) for change in changes)))
    return f"This system's package manager {names}."


def _package(change: PackageChange) -> str:
    version = f" ({change.after[:_LONGEST]})" if change.after else ""
    return f"{change.action.value} {change.package[:_LONGEST]}{version}"


def _listed(names: tuple[str, ...]) -> str:
    more = len(names) - _MOST
    shown = names[:_MOST] if more > 1 else names[: _MOST + 1]
    return ", ".join(shown) + (f" and {more} more" if more > 1 else "")
