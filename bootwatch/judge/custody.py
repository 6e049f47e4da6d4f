"""Who had the machine while a change happened."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from bootwatch.model.change import Custody
from bootwatch.model.snapshot import Circumstance, Moment


@dataclass(frozen=True)
class Look:
    """A recorded snapshot, as far as custody goes. Order is by number and boot id, never by the clock.

    ``resets`` is the TPM's count of starts, None where it isn't known; ``worked``: this system's package
    manager did something since the snapshot before.
    """

    number: int
    boot_id: str | None
    moment: Moment
    resets: int | None = None
    worked: bool = False

    @classmethod
    def of(cls, number: int, circumstance: Circumstance) -> Look:
        worked = bool(circumstance.packages)
        return cls(number, circumstance.boot_id, circumstance.moment, circumstance.tpm_resets, worked)


def custody_between(
    last_without: Look | None, first_with: Look | None, between: Iterable[Look] = ()
) -> Custody:
    """Two snapshots of one start prove that this system was running, unless it slept on disk in between; a
    shutdown and the very next boot that it was not, unless its packages changed before the look at the boot.
    Everything else is unknown."""
    if last_without is None or first_with is None or None in (last_without.boot_id, first_with.boot_id):
        return Custody.UNKNOWN
    if last_without.boot_id == first_with.boot_id:
        slept = _slept(last_without, first_with, between)
        return Custody.UNKNOWN if slept else Custody.HERE
    is_pair = (last_without.moment, first_with.moment) == (Moment.SHUTDOWN, Moment.BOOT)
    is_next = first_with.number == last_without.number + 1
    return Custody.ELSEWHERE if is_pair and is_next and not first_with.worked else Custody.UNKNOWN


def _slept(last_without: Look, first_with: Look, between: Iterable[Look]) -> bool:
    """Whether the machine was off within one start: hibernated, it may have started something else."""
    counts = last_without.resets, first_with.resets
    if None not in counts and counts[0] != counts[1]:
        return True
    return any(look.moment is Moment.RESUME for look in (*between, first_with))
