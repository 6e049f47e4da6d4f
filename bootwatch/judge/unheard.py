"""Whether what bootwatch sees would be heard of: it only runs in one of the systems."""

from __future__ import annotations

from bootwatch.judge.drafts import stable_id
from bootwatch.judge.following import next_phrase, starts_next
from bootwatch.judge.outlook import Outlook
from bootwatch.judge.steps import By
from bootwatch.judge.systems import System
from bootwatch.model.change import Finding
from bootwatch.model.level import Level

NAME = "unheard"


def unheard(seen: Outlook, home: System | None) -> Finding | None:
    """The finding that another system than ``home``, in which bootwatch runs, is usually started.

    None where it isn't so or isn't known; and where the next start was asked for once only (BootNext): give
    the outlook on the usual state.
    """
    following = seen.next_start
    if home is None or following.by in (By.NEXT, By.SETUP) or starts_next(seen, home) is not False:
        return None
    what = "nothing by itself" if following.by is By.NOTHING else next_phrase(seen)
    where = ", ".join(part for part in (following.entry, following.volume, following.file) if part)
    # A stick that somebody plugged in is put in front by the firmware, and goes with it again.
    level = Level.CHANGED if seen.next_system and seen.next_system.removable else Level.WEAKENED
    # One machine has one such finding at most: it stays the same when the baseline is saved, although the
    # system may then be known by another place, and so by another key.
    return Finding(stable_id(NAME, ()), NAME, level, home.name, what, where)
