"""A whole snapshot: the first one of a machine by its time, one of what didn't change by its processor time.

    python -m tests.bench snapshot

The machine is that of `machine`: 300 files, 260 MB, everything in the page cache. Its first snapshot takes no
longer than 0.6 times what ``find | xargs sha256sum`` takes for the same files, read through folders (mounted)
and out of the FAT images (unmounted). A snapshot of what didn't change takes at most three times the
processor time of a Python that only imports what any such program needs. Both with the program as it is
installed: a copy with compiled modules, started as packaging/install starts it.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from tests.bench.figure import Figure, in_turn, milliseconds, processor, wall
from tests.bench.machine import build_root, build_tree

PROJECT = Path(__file__).resolve().parents[2]
PYTHON = "/usr/bin/python3"
IMPORTS = "import dataclasses, enum, hashlib, sqlite3, json, argparse"
ROUNDS = 11
MOST_TIME, MOST_PROCESSOR = 0.6, 3.0
LONG_AGO = time.time() - 20 * 86400


def figures() -> Iterator[Figure]:
    with tempfile.TemporaryDirectory(prefix="bench.") as name:
        yield from _of_machine(Path(name) / "usual", programs=False)
        yield from _of_machine(Path(name) / "programs", programs=True)


def installed(folder: Path) -> list[str]:
    """A command that starts a copy of the program, compiled as packaging/install does it."""
    library = folder / "library"
    shutil.copytree(
        PROJECT / "bootwatch", library / "bootwatch", ignore=shutil.ignore_patterns("__pycache__")
    )
    subprocess.run([PYTHON, "-I", "-m", "compileall", "-q", str(library)], check=True)
    start = folder / "bootwatch"
    start.write_text(
        f"#!{PYTHON} -I\nimport sys\n\nsys.path.insert(0, {str(library)!r})\n"
        "from bootwatch.cli.main import main\n\nsys.exit(main())\n"
    )
    start.chmod(0o755)
    return [str(start)]


def _of_machine(folder: Path, *, programs: bool) -> Iterator[Figure]:
    """``programs``: nearly all bytes are programs', which are hashed each time: shown, without a limit."""
    folder.mkdir()
    tree = build_tree(folder / "tree", programs=programs)
    for path in (folder / "tree").rglob("*"):
        os.utime(path, (LONG_AGO, LONG_AGO))
    program = installed(folder)
    hashing = ["sh", "-c", f"find {folder}/tree -type f -print0 | xargs -0 sha256sum"]
    bare = [PYTHON, "-c", IMPORTS]
    for mounted in (True, False):
        way = "mounted" if mounted else "unmounted"
        root = build_root(tree, folder / way, mounted=mounted).folder
        snapshot = [*program, "--root", str(root), "snapshot"]

        def first(root: Path = root, command: list[str] = snapshot) -> float:
            for state in (root / "var", root / "run/bootwatch"):
                shutil.rmtree(state, ignore_errors=True)
            return wall(command)

        if not programs:
            yield _figure(
                f"first snapshot, {way}",
                "find | sha256sum",
                MOST_TIME,
                in_turn(first, lambda: wall(hashing), ROUNDS),
            )
        time.sleep(6)  # what was made within the last seconds is read in full once more
        first()

        def second(command: list[str] = snapshot) -> float:
            return processor(command)

        second()
        what = f"next snapshot, {way}, {'programs alone' if programs else 'usual files'}: processor"
        most = None if programs else MOST_PROCESSOR
        yield _figure(what, "bare imports", most, in_turn(second, lambda: processor(bare), 2 * ROUNDS))


def _figure(what: str, reference: str, most: float | None, found: tuple[float, float, float]) -> Figure:
    ours, theirs, ratio = found
    return Figure(what, milliseconds(ours), reference, milliseconds(theirs), ratio, most)
