"""Pauses that many machines make together: holidays, or a network that is down. Pure.

One machine that falls silent is a machine; many on the same days are their building. Then one thing is told,
and it stretches nobody's rhythm.
"""

from __future__ import annotations

import datetime
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from itertools import pairwise

from bootwatch.rollcall.rhythm import Span

_DAY = datetime.timedelta(days=1)
_LONG = 5 * _DAY
_NEAR = 3 * _DAY
_SPREAD = 8 * _DAY
_LEAST = 5


def enough(machines: int) -> int:
    """How many of ``machines`` make a pause a shared one: five, and one in twenty."""
    return max(_LEAST, -(-machines // 20))


def shared(on: Sequence[Sequence[datetime.datetime]]) -> list[Span]:
    """Pauses that are long for their machines, and that began and ended within the same three days for enough
    of them, in order and apart. ``on``: for each machine, when it is known to have been on."""
    pauses = sorted(pause for times in on for pause in _pauses(times))
    begins = [begin for begin, _ in pauses]
    found: list[Span] = []
    for begin, end in pauses:
        near = pauses[bisect_left(begins, begin - _NEAR) : bisect_right(begins, begin + _NEAR)]
        alike = [one for one in near if abs(one[1] - end) <= _NEAR]
        if len(alike) >= enough(len(on)):
            found.append((max(one[0] for one in alike), min(one[1] for one in alike)))
    return _joined(found)


def _pauses(times: Sequence[datetime.datetime]) -> list[Span]:
    """Those of five days and more that are twice as long as three quarters of the machine's pauses."""
    spans = list(pairwise(times))
    if not spans:
        return []
    lengths = sorted(later - earlier for earlier, later in spans)
    long = max(_LONG, 2 * lengths[len(lengths) * 3 // 4])
    return [(earlier, later) for earlier, later in spans if later - earlier >= long]


def _joined(spans: Sequence[Span]) -> list[Span]:
    joined: list[Span] = []
    for begin, end in sorted(spans):
        if joined and begin <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((begin, end))
    return joined


def silent_together(last: Sequence[datetime.datetime]) -> list[int]:
    """For each of those that are overdue, by when it was heard ``last``: how many of them, itself included,
    were heard last within the same days. Signs of life come once a week or so, each on its own day of it."""
    times = sorted(last)
    return [bisect_right(times, one + _SPREAD) - bisect_left(times, one - _SPREAD) for one in last]
