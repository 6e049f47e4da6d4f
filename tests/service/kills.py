"""Commands killed at every system call by which they change anything, and at random moments.

`python -m tests.service.kills [SEED [RANDOM [EVERY]]]` does all of it and prints what came of it, in an hour
or less. RANDOM is how many random moments there are, and of EVERY so many calls one is taken.
"""

from __future__ import annotations

import logging
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from tests import strace
from tests.service.killing import STORIES, Outcome, Scene, Story
from tests.service.send_kills import Sending, Thread
from tests.strace import PROJECT, Spot

RANDOM = 500
# Nothing waits for a disk there: what a kill leaves is the same.
MEMORY = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
_SORTS = {
    "write": "write", "pwrite64": "write", "ftruncate": "write", "fsync": "fsync", "fdatasync": "fsync",
    "rename": "rename", "unlink": "unlink", "mkdir": "make", "openat": "make",
}  # fmt: skip


@dataclass
class Tally:
    """What came of one story's kills."""

    kills: int = 0
    sorts: Counter[str] = field(default_factory=Counter)
    outcomes: list[Outcome] = field(default_factory=list)
    failures: list[str] = field(default_factory=list)
    finished: int = 0

    def add(self, scene: Scene, what: str) -> None:
        """Look at what a kill left, and go on from there."""
        self.kills += 1
        try:
            self.outcomes.append(scene.go_on())
        except AssertionError as error:
            self.failures.append(f"{scene.story.name}, {what}: {str(error)[:300]}")

    def count(self, name: str) -> str:
        """How many came so far, of how many."""
        return f"{sum(bool(getattr(one, name)) for one in self.outcomes)}/{len(self.outcomes)}"


def spots_of(scene: Scene, folder: Path) -> list[Spot]:
    """All of a story's, in their order: until it finishes."""
    (spots,) = strace.spots(scene.command, folder / "calls", made=True).values()
    return spots


def kill_at(scene: Scene, spot: Spot) -> bool:
    scene.start_over()
    return strace.cut_off(scene.command, spot)


def at_every_call(scene: Scene, folder: Path, spots: Iterable[Spot] | None = None) -> Tally:
    tally = Tally()
    for spot in spots or spots_of(scene, folder):
        if not kill_at(scene, spot):
            tally.finished += 1  # which pages it writes differs a little from time to time
            continue
        tally.sorts[_SORTS[spot[0]]] += 1
        tally.add(scene, f"{spot[0]} {spot[1]}")
    return tally


def at_random(scene: Scene, shares: Iterable[float]) -> Tally:
    """Killed after each share of the time that it takes by itself."""
    tally = Tally()
    scene.start_over()
    usual = _timed(scene)
    for share in shares:
        scene.start_over()
        with subprocess.Popen(
            scene.command, cwd=PROJECT, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        ) as running:  # fmt: skip
            time.sleep(share * usual)
            running.kill()
        tally.finished += running.returncode != -signal.SIGKILL
        tally.add(scene, f"after {share:.3f} of {usual:.3f} s")
    return tally


def _timed(scene: Scene) -> float:
    begin = time.monotonic()
    subprocess.run(scene.command, cwd=PROJECT, stdin=subprocess.DEVNULL, capture_output=True, check=True)
    return time.monotonic() - begin


@dataclass
class Window:
    """What came of the sender's kills, delivery by delivery."""

    kills: int = 0
    before: Counter[int] = field(default_factory=Counter)
    within: Counter[int] = field(default_factory=Counter)
    after: Counter[int] = field(default_factory=Counter)
    calls_within: Counter[str] = field(default_factory=Counter)
    first_after: Counter[str] = field(default_factory=Counter)

    @property
    def failures(self) -> list[str]:
        """Lost, or sent again outside the window."""
        wrong = {
            "before": set(self.before) - {1},
            "within": set(self.within) - {2},
            "after": set(self.after) - {1},
        }
        return [
            f"send, killed {where} the window: {copies} copies" for where, copies in wrong.items() if copies
        ]


def of_sending(sending: Sending, spots: Iterable[tuple[Thread, Spot]]) -> Window:
    """``spots`` in their order."""
    found, known = Window(), set[str]()
    for thread, spot in spots:
        found.kills += 1
        for one in sending.kill_at(thread, spot):
            side = found.within if one.in_window else found.after if one.receipted else found.before
            side[one.copies] += 1
            if one.in_window:
                found.calls_within[spot[0]] += 1
            if one.receipted and one.name not in known:
                known.add(one.name)
                found.first_after[spot[0]] += 1
    return found


def scenes(stories: Iterable[Story] = STORIES) -> Iterator[tuple[Scene, Path]]:
    for story in stories:
        with tempfile.TemporaryDirectory(dir=MEMORY) as folder:
            yield Scene(story, Path(folder)), Path(folder)


def table(given: Sequence[tuple[str, ...]]) -> str:
    """With a line under the titles."""
    rows = [given[0], tuple("-" * len(title) for title in given[0]), *given[1:]]
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    return "".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() + "\n"
        for row in rows
    )


_ENDS = ("recorded", "spooled", "baseline_new")


def _row(name: str, tally: Tally, sorts: Iterable[str]) -> tuple[str, ...]:
    most = max((one.leftovers for one in tally.outcomes), default=0)
    counts = [str(tally.sorts[sort]) for sort in sorts]
    return (name, str(tally.kills), *counts, *map(tally.count, _ENDS), str(most), str(len(tally.failures)))


def _main(seed: int, number: int = RANDOM, every_nth: int = 1) -> int:
    logging.disable(logging.CRITICAL)  # the mail server logs every line that is cut
    failures: list[str] = []
    ends = ("recorded", "spooled", "new baseline", "left over", "failed")
    every: list[tuple[str, ...]] = [
        ("killed at every call", "kills", "write", "fsync", "rename", "unlink", "make", *ends)
    ]
    some: list[tuple[str, ...]] = [("killed at random", "kills", *ends)]
    chance = random.Random(seed)
    for scene, folder in scenes():
        tally = at_every_call(scene, folder, spots_of(scene, folder)[::every_nth])
        every.append(_row(scene.story.name, tally, every[0][2:7]))
        share = number // len(STORIES) + (len(some) <= number % len(STORIES))
        other = at_random(scene, [chance.random() for _ in range(share)])
        some.append(_row(scene.story.name, other, ()))
        failures += tally.failures + other.failures
        print(f"{scene.story.name}: {tally.kills} and {other.kills} kills", file=sys.stderr, flush=True)
    with tempfile.TemporaryDirectory(dir=MEMORY) as folder_name, Sending(Path(folder_name)) as sending:
        window = of_sending(sending, sending.spots[::every_nth])
    sent = [("send, each delivery", "times", "copies in the end", "calls")]
    for name, side, calls in (
        ("before the server has confirmed it", window.before, Counter[str]()),
        ("confirmed, its receipt not in place", window.within, window.calls_within),
        ("its receipt in place", window.after, window.first_after),
    ):
        words = ", ".join(f"{call} {count}" for call, count in sorted(calls.items()))
        first = "first: " if calls is window.first_after else ""
        sent.append((name, str(side.total()), ", ".join(map(str, sorted(side))), first + words))
    failures += window.failures
    print(table(every))
    print(f"seed {seed}\n{table(some)}")
    print(f"{window.kills} kills of send, at every call of each of its threads\n{table(sent)}")
    print("\n".join(failures) or "nothing was lost, told twice, torn or stuck")
    return 1 if failures else 0


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:]]
    sys.exit(_main(*(given or [random.SystemRandom().randrange(10**6)])))
