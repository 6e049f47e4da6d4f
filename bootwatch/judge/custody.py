"""Who had the machine while a change happened."""

from __future__ import annotations

from dataclasses import dataclass

from bootwatch.model.change import Custody
from bootwatch.model.snapshot import Moment


@dataclass(frozen=True)
class Look:
    """A recorded snapshot, as far as custody goes. Order is by number and boot id, never by the clock."""

    number: int
    boot_id: str | None
    moment: Moment


def custody_between(last_without: Look | None, first_with: Look | None) -> Custody:
    """Two snapshots of one start prove that this system was running; a shutdown and the very next boot that
    it was not. Everything else is unknown."""
    if last_without is None or first_with is None:
        return Custody.UNKNOWN
    if last_without.boot_id is not None and last_without.boot_id == first_with.boot_id:
        return Custody.HERE
    is_pair = (last_without.moment, first_with.moment) == (Moment.SHUTDOWN, Moment.BOOT)
    return Custody.ELSEWHERE if is_pair and first_with.number == last_without.number + 1 else Custody.UNKNOWN
