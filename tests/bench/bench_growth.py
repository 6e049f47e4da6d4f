"""How cost grows with what there is: recorded snapshots, boot volumes, files.

    python -m tests.bench growth

Processor time of whole commands, each held against the smallest of its kind; the last column of such a group
says nothing, and its slope is printed: 1 where twice as much takes twice as long, 0 where it makes no
difference. Promised are `drift` with 10,000 recorded starts (at most 1.2 times that with 10) and what a start
in which nothing changed takes of history.db (300 bytes): prediction, verdict and comparison included.
"""

from __future__ import annotations

import contextlib
import io
import math
import shutil
import statistics
import struct
import tempfile
import uuid
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path

from bootwatch.cli.main import main
from bootwatch.places import Places
from tests.bench.bench_snapshot import installed
from tests.bench.figure import Figure, in_turn, milliseconds, processor
from tests.bench.grown import grow
from tests.formats.tools import run
from tests.roots import FERNWICK_LOADER, Part, Root, dual, program

STARTS = (10, 100, 1_000, 10_000)
VOLUMES = (1, 5, 20)
FILES = (100, 1_000, 5_000, 20_000)
ROUNDS = 7
MOST_LATER, MOST_BYTES = 1.2, 300
_IN_FOLDER = 50


def figures() -> Iterator[Figure]:
    with tempfile.TemporaryDirectory(prefix="bench.") as name:
        folder = Path(name)
        command = installed(folder)
        yield from _starts(folder / "starts", command)
        yield from _group("snapshot, volumes", VOLUMES, folder / "volumes", command, _with_volumes)
        yield from _group("snapshot, files", FILES, folder / "files", command, _with_files)


def _starts(folder: Path, command: list[str]) -> Iterator[Figure]:
    """Of one machine, whose history grows."""
    folder.mkdir()
    first = dual(folder / "0")
    first.variable("BootCurrent", struct.pack("<H", 0), attributes=6)
    _quietly("--root", str(first.folder), "baseline", "save", "--reason", "good")
    roots, sizes, recorded = [first], [], 0
    for starts in STARTS:
        root = first.at(shutil.copytree(roots[-1].folder, folder / str(starts), symlinks=True))
        grow(Places.below(root.folder), starts - recorded)
        recorded = starts
        sizes.append((root.folder / "var/lib/bootwatch/history/history.db").stat().st_size)
        roots.append(root)
    each = (sizes[-2] - sizes[0]) / (STARTS[-2] - STARTS[0])
    what = f"history.db, a start without a change, of {STARTS[-2]:,}"
    yield Figure(what, f"{each:.0f} bytes", "the promise", f"{MOST_BYTES} bytes", each / MOST_BYTES, 1.0)
    commands = [[*command, "--root", str(root.folder), "drift"] for root in roots[1:]]
    for starts, later in zip(STARTS[1:], commands[1:], strict=True):
        found = in_turn(partial(processor, later), partial(processor, commands[0]), ROUNDS)
        most = MOST_LATER if starts == STARTS[-1] else None
        yield _figure(f"drift, recorded starts: {starts:,}", f"{STARTS[0]}", found, most)


def _group(
    what: str, counts: Sequence[int], folder: Path, command: list[str], make: Callable[[Path, int], Root]
) -> Iterator[Figure]:
    """Full readings of machines with more and more of something."""
    folder.mkdir()
    taken = []
    for count in counts:
        root = str(make(folder / str(count), count).folder)
        taken.append(statistics.median(_full(root, command) for _ in range(ROUNDS)))
        if len(taken) > 1:
            found = taken[-1], taken[0], taken[-1] / taken[0]
            yield _figure(f"{what}: {count:,}", f"{counts[0]}", found, None)
    slope = math.log(taken[-1] / taken[-2]) / math.log(counts[-1] / counts[-2])
    yield Figure(f"{what}: slope at the end", "", "", "", slope, 1.2)


def _full(root: str, command: list[str]) -> float:
    (Path(root) / "var/lib/bootwatch/history/answers.json").unlink(missing_ok=True)
    return processor([*command, "--root", root, "snapshot"])


def _with_volumes(folder: Path, count: int) -> Root:
    root = Root(folder)
    for number in range(count):
        files = {FERNWICK_LOADER: program(f"fernwick {number}"), "\\settings.conf": b"timeout 5\n"}
        guid = str(uuid.uuid5(uuid.NAMESPACE_OID, f"volume {number}"))
        root.disk(f"vd{chr(ord('a') + number)}", [Part(guid, files)], slot=4 + number)
        root.entry(number, f"Fernwick {number}", guid, FERNWICK_LOADER)
    root.order(*range(count))
    return root


def _with_files(folder: Path, count: int) -> Root:
    tree = folder.with_name(f"tree-{count}")
    for number in range(count):
        file = tree / "all" / f"folder-{number // _IN_FOLDER}" / f"{number}.txt"
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(f"file {number}\n")
    root = Root(folder)
    guid = str(uuid.uuid5(uuid.NAMESPACE_OID, "files"))
    root.disk("vda", [Part(guid, {FERNWICK_LOADER: program("fernwick")}, megabytes=128)])
    run("mcopy", "-s", "-Q", "-i", f"{root.image('vda')}@@1M", tree / "all", "::/")
    root.entry(0, "Fernwick Linux", guid, FERNWICK_LOADER)
    root.order(0)
    return root


def _quietly(*words: str) -> None:
    with contextlib.redirect_stdout(io.StringIO()):
        if main(words) != 0:
            raise SystemExit(f"{words} failed")


def _figure(what: str, reference: str, found: tuple[float, float, float], most: float | None) -> Figure:
    return Figure(what, milliseconds(found[0]), reference, milliseconds(found[1]), found[2], most)
