"""The table of damages and ways back:

    python -m tests.firmware.restore_table [WAY ...] [PART-OF-A-DAMAGE'S-NAME ...]

damages the machine of two systems in every way, once for each way back, and starts it before and after on the
real firmware: before only once, unless the way needs another machine. Two machines run side by side; a row
takes about 10 s.
"""

import sys
import tempfile
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tests.firmware.damages import DAMAGES, Damage
from tests.firmware.restore_ways import UNPREPARED, WAYS, Tried, can_try, tried
from tests.firmware.slot import SLOTS


def rows(damages: Iterable[Damage], ways: Iterable[str], *, before: bool = False) -> Iterator[Tried]:
    """Each damage with each way, in their order; how it starts `before` is tried once for each machine."""

    def one(pair: tuple[Damage, str]) -> Tried:
        with tempfile.TemporaryDirectory(prefix="damage.") as folder:
            return tried(*pair, Path(folder), before=before and pair[1] in first)

    ways = list(ways)
    first = {*ways[:1], *UNPREPARED}
    with ThreadPoolExecutor(SLOTS) as workers:
        pairs = [(damage, way) for damage in damages for way in ways if can_try(damage, way)]
        yield from workers.map(one, pairs)


def line(row: Tried) -> str:
    """One line of the table."""
    both = "yes" if row.is_back else "NO"
    return f"{row.damage:<68} {row.way:<10} {both:<4} {row.seconds:5.1f}  {row.before!s:<58} {row.after}" + (
        f"\n    left: {row.left}" if row.left else ""
    )


HEAD = f"{'damage':<68} {'way':<10} both {'s':>5}  {'starts before':<58} starts after"


def main(words: list[str]) -> int:
    """1 where some way doesn't bring both back."""
    ways = [word for word in words if word in WAYS] or list(WAYS)
    names = [word for word in words if word not in WAYS]
    damages = [one for one in DAMAGES.values() if not names or any(name in one.name for name in names)]
    print(HEAD, flush=True)
    done = failed = 0
    for row in rows(sorted(damages, key=lambda one: not one.entries), ways, before=True):
        print(line(row), flush=True)
        done += 1
        failed += not row.is_back
    print(f"{done} tries of {len(damages)} damages, {failed} without both systems")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
