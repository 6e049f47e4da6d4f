"""What can be wrong with the folder that everything is kept in, and what must come of it.

`python -m tests.service.state_faults [WORD]` plays all of it, or what has WORD in its name, and prints how
each command ended.
"""

from __future__ import annotations

import hashlib
import os
import shlex
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from bootwatch.keep.baseline import FILE_NAME as BASELINE
from bootwatch.keep.history import FILE_NAME as HISTORY
from tests import strace
from tests.roots import dual
from tests.service.killing import STORIES, Ended, Machine
from tests.service.kills import MEMORY, table
from tests.strace import PROJECT

SAVE = ("baseline", "save", "--reason", "good", "--yes")
COMMANDS: tuple[tuple[str, ...], ...] = (
    ("snapshot",), ("drift",), ("routes",), ("alerts",), ("baseline", "show"), SAVE, ("send",),
)  # fmt: skip
STRANGER = 12345
_MAGIC = bytes.fromhex("d9d505f920a163d7")  # SQLite's file format, §3


def _nothing(machine: Machine) -> None:
    """The files stay as they are."""


def _directly(machine: Machine) -> list[str]:
    return []


@dataclass(frozen=True)
class Fault:
    """``damage`` is done to the files; a command runs behind ``prefix``. ``ends``: the exit status of each
    command, in their order; ``said`` stands in what `snapshot` says."""

    name: str
    ends: str
    said: str = ""
    damage: Callable[[Machine], None] = _nothing
    prefix: Callable[[Machine], list[str]] = _directly
    quick: bool = False


@dataclass(frozen=True)
class Found:
    """``ends`` as above; ``problems`` is what is not as it must be."""

    ends: str
    said: str
    log_in: str
    problems: tuple[str, ...]


def prepared(folder: Path) -> tuple[Machine, Path]:
    """A machine with an alert that was told, and a copy of what is kept of it."""
    machine = Machine(dual(folder / "machine"))
    next(story for story in STORIES if story.name == "baseline save over an alert").prepare(machine)
    machine.put_aside(folder / "before")
    return machine, folder / "before"


def play(fault: Fault, machine: Machine, before: Path) -> Found:
    ends, problems, said, log_in = [], [], "", ""
    for words in COMMANDS:
        machine.put_back(before)
        fault.damage(machine)
        kept = _kept(machine)
        found = _run(fault, machine, words)
        ends.append(str(found.status))
        said = said or found.err.replace(f"{machine.root.folder}/", "").strip().split("\n")[0]
        if words == ("snapshot",):
            log_in = (machine.root.folder / "run/bootwatch/motd").read_text()
        problems += [f"{' '.join(words[:2])}: {one}" for one in _problems(machine, found, words, kept)]
    return Found(" ".join(ends), said, log_in, tuple(problems))


def _run(fault: Fault, machine: Machine, words: tuple[str, ...]) -> Ended:
    done = subprocess.run(
        [*fault.prefix(machine), *machine.command(*words)],
        cwd=PROJECT, capture_output=True, text=True, stdin=subprocess.DEVNULL, timeout=120, check=False,
    )  # fmt: skip
    return Ended(done.returncode, done.stdout, done.stderr)


def _problems(machine: Machine, found: Ended, words: tuple[str, ...], kept: dict[str, str]) -> list[str]:
    """Of one command: what it says, and what it left of what was there."""
    problems = []
    if "Traceback" in found.err:
        problems.append(f"a traceback: {found.err.splitlines()[-1]}")
    if found.status == 3 and found.err.count("\n") < 2 and "send" not in words:
        problems.append(f"no hint: {found.err}")
    there = _kept(machine).keys()
    return problems + [f"{name} is no longer there" for own, name in kept.items() if own not in there]


def _kept(machine: Machine) -> dict[str, str]:
    """Baselines and spares, by their content; a damaged one counts as it is."""
    files = [*machine.places.baseline.rglob("*.yaml*"), *machine.places.spares.iterdir()]
    return {_digest(path): path.name for path in files}


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


# faults in files


def _history(machine: Machine) -> Path:
    return machine.places.history / HISTORY


def _baseline(machine: Machine) -> Path:
    return machine.places.baseline / BASELINE


def _write(which: Callable[[Machine], Path], data: bytes) -> Callable[[Machine], None]:
    return lambda machine: _forget(which(machine).write_bytes(data))


def _forget(result: object) -> None:
    """What a call gives back."""


def _folder(machine: Machine) -> None:
    _history(machine).unlink()
    _history(machine).mkdir()


def _truncate(share: float) -> Callable[[Machine], None]:
    def damage(machine: Machine) -> None:
        path = _history(machine)
        os.truncate(path, int(path.stat().st_size * share) // 4096 * 4096)

    return damage


def _flip(page: int) -> Callable[[Machine], None]:
    """Sixteen bytes at the head of one page."""

    def damage(machine: Machine) -> None:
        with _history(machine).open("r+b") as file:
            file.seek(page * 4096)
            turned = bytes(byte ^ 0xFF for byte in file.read(16))
            file.seek(page * 4096)
            file.write(turned)

    return damage


def _edit(old: str, new: str) -> Callable[[Machine], None]:
    def damage(machine: Machine) -> None:
        text = _baseline(machine).read_text()
        assert old in text
        _baseline(machine).write_text(text.replace(old, new, 1))

    return damage


def _half(machine: Machine) -> None:
    os.truncate(_baseline(machine), _baseline(machine).stat().st_size // 2)


def _hot_journal(machine: Machine) -> None:
    """As a power cut leaves it: what the database was is in the journal, which begins with its magic then."""
    journal = machine.places.history / f"{HISTORY}-journal"
    for number in range(1, 40):
        assert strace.cut_off(machine.command("snapshot", "--no-tell"), ("fdatasync", number))
        if journal.exists() and journal.read_bytes().startswith(_MAGIC):
            return
    raise AssertionError("no such moment")


def _of_a_stranger(machine: Machine) -> None:
    for path in [machine.places.state, *machine.places.state.rglob("*")]:
        os.chown(path, STRANGER, STRANGER)


def _hot_and_of_a_stranger(machine: Machine) -> None:
    _hot_journal(machine)
    _of_a_stranger(machine)


# faults of file systems: in a mount namespace of the command's own


def _behind(script: str) -> list[str]:
    return ["unshare", "--user", "--map-root-user", "--mount", "sh", "-ec", script, "sh"]


def _full(left: int) -> Callable[[Machine], list[str]]:
    """A file system with as many KiB of room; what is on it afterwards is copied back."""

    def prefix(machine: Machine) -> list[str]:
        state = shlex.quote(str(machine.places.state))
        return _behind(
            f"copy=$(mktemp -d); cp -a {state}/. $copy; outside=$(mktemp -d); mount --bind {state} $outside;"
            f" mount -t tmpfs -o size=2m t {state}; cp -a $copy/. {state}; rm -r $copy;"
            f" dd if=/dev/zero of={state}/filler bs=1k 2>/dev/null || true;"
            f" size=$(stat -c %s {state}/filler); truncate -s $((size - {left} * 1024)) {state}/filler;"
            f' status=0; "$@" || status=$?; rm {state}/filler; find $outside -mindepth 1 -delete;'
            f" cp -a {state}/. $outside; umount {state}; umount $outside; rmdir $outside; exit $status"
        )

    return prefix


def _read_only(machine: Machine) -> list[str]:
    state = shlex.quote(str(machine.places.state))
    return _behind(f'mount --bind {state} {state}; mount -o remount,bind,ro {state}; exec "$@"')


def _error(call: str, place: str) -> Callable[[Machine], list[str]]:
    """Input/output errors in every such call that concerns a file or folder of the state."""

    def prefix(machine: Machine) -> list[str]:
        path = machine.places.state / place
        command = ["strace", "-f", "-qq", "-o", "/dev/null", "-P", str(path), "-e", f"trace={call}"]
        return [*command, "-e", f"inject={call}:error=EIO"]

    return prefix


_DATABASE, _JOURNAL, _CURRENT = f"history/{HISTORY}", f"history/{HISTORY}-journal", f"baseline/{BASELINE}"
_DISK = "disk I/O error"
_PAGES = range(2, 41, 4)
FAULTS = (
    Fault("nothing is wrong", "0 1 1 1 0 0 0"),
    Fault("history: of no length", "0 1 1 0 0 0 0", "this history is new", _truncate(0)),
    Fault("history: half of it", "0 1 1 3 0 0 0", "the history was damaged; it is put aside", _truncate(0.5)),
    Fault(
        "history: no database", "0 1 1 3 0 0 0", "the history was damaged; it is put aside",
        _write(_history, b"hello " * 900), quick=True,
    ),
    Fault("history: a folder", "0 1 1 3 0 0 0", "the history was damaged; it is put aside", _folder),
    Fault("history: page 1 damaged", "0 1 1 3 0 0 0", "the history was damaged", _flip(0)),
    *(Fault(f"history: page {page} damaged", "0 1 1 ? 0 ? 0", "", _flip(page - 1)) for page in _PAGES),
    Fault("history: journal left by a power cut", "0 1 1 1 0 0 0", "", _hot_journal),
    Fault("baseline: no YAML", "0 3 3 1 3 0 0", "is damaged", _write(_baseline, b"hello: [\n")),
    Fault("baseline: other YAML", "0 3 3 1 3 0 0", "is not a baseline", _write(_baseline, b"a: 1\n")),
    Fault("baseline: a list", "0 3 3 1 3 0 0", "", _write(_baseline, b"- a\n")),
    Fault("baseline: empty", "0 3 3 1 3 0 0", "", _write(_baseline, b"")),
    Fault("baseline: no text", "0 3 3 1 3 0 0", "is damaged", _write(_baseline, bytes(range(256)))),
    Fault("baseline: cut in half", "0 3 3 1 3 0 0", "lacks saved", _half),
    Fault(
        "baseline: of a newer format", "0 3 3 1 3 3 0", "this bootwatch knows bootwatch/baseline/1",
        _edit("bootwatch/baseline/1", "bootwatch/baseline/2"),
    ),
    Fault("full: no room", "3 1 1 1 0 3 0", "disk is full", prefix=_full(0)),
    *(Fault(f"full: {left} KiB left", "? 1 1 1 0 ? 0", prefix=_full(left)) for left in (8, 24, 60, 120)),
    Fault("read-only", "3 1 1 1 0 3 0", "its file system is read-only", prefix=_read_only),
    Fault(
        "read-only, journal left by a power cut", "3 1 1 3 0 3 0", "its file system is read-only",
        _hot_journal, _read_only,
    ),
    Fault("of another owner", "3 1 1 1 0 3 0", "belongs to a user whom nobody knows", _of_a_stranger),
    Fault(
        "of another owner, journal left by a power cut", "3 1 1 3 0 3 0", "belongs to a user",
        _hot_and_of_a_stranger,
    ),
    Fault("EIO: reading the history", "3 1 1 3 0 3 0", _DISK, prefix=_error("pread64", _DATABASE)),
    Fault("EIO: writing the history", "3 1 1 1 0 3 0", _DISK, prefix=_error("pwrite64", _DATABASE)),
    Fault("EIO: its fsync", "3 1 1 1 0 3 0", _DISK, prefix=_error("fdatasync", _DATABASE)),
    Fault("EIO: writing its journal", "3 1 1 1 0 3 0", _DISK, prefix=_error("pwrite64", _JOURNAL)),
    Fault("EIO: opening it", "3 1 1 3 0 3 0", "", prefix=_error("openat", _DATABASE)),
    Fault("EIO: the lock", "3 1 1 1 0 3 0", "Input/output error", prefix=_error("openat", "history/lock")),
    Fault("EIO: reading the baseline", "0 3 3 1 3 3 0", "Input/output", prefix=_error("read", _CURRENT)),
    Fault("EIO: fsync of its folder", "0 1 1 1 0 3 0", "", prefix=_error("fsync", "baseline")),
    Fault("EIO: its log", "0 1 1 1 0 3 0", "", prefix=_error("openat", "baseline/log")),
    Fault("EIO: the spares", "0 1 1 1 0 3 0", "", prefix=_error("openat", "spares")),
    Fault("EIO: the spool", "0 1 1 3 0 3 3", "", prefix=_error("openat", "spool")),
)  # fmt: skip


def _main(word: str) -> int:
    rows: list[tuple[str, ...]] = [
        ("fault", *(words[-1] if words != SAVE else "save" for words in COMMANDS), "said first")
    ]
    wrong: list[str] = []
    with tempfile.TemporaryDirectory(dir=MEMORY) as folder:
        machine, before = prepared(Path(folder))
        for fault in (one for one in FAULTS if word in one.name):
            found = play(fault, machine, before)
            rows.append((fault.name, *found.ends.split(), found.said[:150] or "-"))
            print(*rows[-1], sep="  ", file=sys.stderr, flush=True)
            wrong += [f"{fault.name}: {one}" for one in found.problems]
            if not agrees(fault, found):
                wrong.append(f"{fault.name}: {found.ends} instead of {fault.ends}")
    print(table(rows))
    print("\n".join(wrong) or "no traceback, and nothing that was kept was overwritten")
    return 1 if wrong else 0


def agrees(fault: Fault, found: Found) -> bool:
    """A question mark stands for 0, 1 or 3: how far a command came."""
    pairs = zip(fault.ends.split(), found.ends.split(), strict=True)
    return all(found in (["0", "1", "3"] if wanted == "?" else [wanted]) for wanted, found in pairs)


if __name__ == "__main__":
    sys.exit(_main(" ".join(sys.argv[1:])))
