"""What the resident watch costs, and how soon people hear.

    python -m tests.bench.bench_watch [--idle SECONDS]

Outside a virtual machine, on a folder that stands for a machine with a mounted boot volume. Latency: from the
moment at which another process deletes a loader to the one at which the alert's record was written, less the
time for which the watch waits until changes have settled; beside `bootwatch snapshot`, started by hand on the
same machine. Memory: private pages (smaps_rollup) beyond those of a bare interpreter, after 1,000,
10,000 and 20,000 events in bursts. Wake-ups: what the kernel counts of all threads while nothing happens.
"""

from __future__ import annotations

import argparse
import select
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from bootwatch.service.watch_settle import QUIET
from tests.bench.figure import Figure, table
from tests.roots import dual, program

PROJECT = Path(__file__).parents[2]
COMMAND = [sys.executable, "-P", "-m", "bootwatch.cli"]
ROUNDS = 5
MOST_LATENCY, MOST_MEMORY = 1.0, 11.0  # seconds, MiB
QUICK = """\
import sys; sys.path.insert(0, sys.argv[1])
from pathlib import Path
from bootwatch.observe.machine import Machine
from bootwatch.service.watch import Watch
from bootwatch.service.watch_ask import RequestFile
from bootwatch.service.watch_settle import Settling
sys.exit(Watch(Machine(sys.argv[2]), RequestFile(Path(sys.argv[2], "asked")), Settling(0.02, 0.5)).run())
"""
LOADER = "boot/efi/EFI/fernwick/loaderx64.efi"
MOUNTS = "1 1 8:2 / / rw - ext4 /dev/vdz2 rw\n2 1 254:65 / /boot/efi rw - vfat /dev/vda1 rw\n"


def machine(folder: Path) -> Path:
    """The tests' usual machine, its first boot volume mounted."""
    root = dual(folder)
    root.write("proc/self/mountinfo", MOUNTS)
    for path in (LOADER, "boot/efi/EFI/BOOT/BOOTX64.EFI"):
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(program("fernwick"))
    (folder / "asked").mkdir()
    return folder


def bootwatch(root: Path, *arguments: str) -> None:
    subprocess.run([*COMMAND, "--root", str(root), *arguments], cwd=PROJECT, check=True, capture_output=True)


@contextmanager
def started(command: list[str]) -> Iterator[subprocess.Popen[str]]:
    """A process that says something on standard error when there is something to say."""
    with subprocess.Popen(
        command, cwd=PROJECT, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True
    ) as one:
        try:
            yield one
        finally:
            one.send_signal(signal.SIGKILL)


def is_watching(process: subprocess.Popen[str]) -> bool:
    """Whether the kernel watches a folder for it by now."""
    folder = Path(f"/proc/{process.pid}/fdinfo")
    try:
        found = sum(one.read_text().count("inotify wd") for one in folder.iterdir())
    except OSError:
        return False
    return found >= 7


def until(is_so: Callable[[], bool]) -> None:
    while not is_so():
        time.sleep(0.005)


def latencies(root: Path) -> tuple[list[float], list[float]]:
    """Of the watch, settling not counted; and how long a snapshot by hand takes. In seconds."""
    record, loader = root / "run/bootwatch/alert.json", root / LOADER
    content = loader.read_bytes()
    taken, by_hand = [], []
    for _ in range(ROUNDS):
        loader.write_bytes(content)
        began = time.time()
        bootwatch(root, "snapshot")
        by_hand.append(time.time() - began)
        with started([*COMMAND, "--root", str(root), "watch"]) as process:
            until(lambda: is_watching(process))
            before = record.stat().st_mtime
            began = time.time()
            subprocess.run(["rm", str(loader)], check=True)
            until(lambda: record.stat().st_mtime > before)  # noqa: B023
            taken.append(record.stat().st_mtime - began - QUIET)
    return taken, by_hand


def private(process: int) -> float:
    """MiB that nobody else uses."""
    lines = Path(f"/proc/{process}/smaps_rollup").read_text().splitlines()
    return sum(int(line.split()[1]) for line in lines if line.startswith("Private_")) / 1024


def bare() -> float:
    waits = "import sys; sys.stderr.write('.'); sys.stderr.flush(); sys.stdin.read()"
    command = [sys.executable, "-I", "-c", waits]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stderr
        process.stderr.read(1)
        size = private(process.pid)
        process.kill()
    return size


def events(root: Path, process: subprocess.Popen[str], number: int) -> None:
    """So many creations, writes, renames and deletions, in bursts as of updates; each burst was asked for."""
    assert process.stderr
    folder = root / "boot/efi/EFI/updated"
    folder.mkdir(exist_ok=True)
    for _ in range(number // 120):
        for place in range(24):
            new = folder / f"{place}.new"
            new.write_bytes(b"MZ")  # created, modified, closed
            new.rename(folder / f"{place}.efi")
            (folder / f"{place}.efi").unlink()
        process.stderr.readline()
        while select.select([process.stderr], [], [], 0)[0]:
            process.stderr.readline()


def memory(root: Path) -> list[float]:
    """MiB beyond the bare interpreter after 1,000, 10,000 and 20,000 events."""
    nothing = bare()
    with started([sys.executable, "-I", "-c", QUICK, str(PROJECT), str(root)]) as process:
        until(lambda: is_watching(process))
        found = []
        for number in (1000, 9000, 10000):
            events(root, process, number)
            found.append(private(process.pid) - nothing)
    return found


def wake_ups(process: int) -> int:
    tasks = Path(f"/proc/{process}/task").iterdir()
    lines = [line for task in tasks for line in (task / "status").read_text().splitlines()]
    return sum(int(line.split()[1]) for line in lines if "ctxt_switches" in line)


def idle(root: Path, seconds: float) -> int:
    with started([*COMMAND, "--root", str(root), "watch"]) as process:
        until(lambda: is_watching(process))
        time.sleep(1)
        before = wake_ups(process.pid)
        time.sleep(seconds)
        return wake_ups(process.pid) - before


def figures(pause: float = 60.0) -> Iterator[Figure]:
    with tempfile.TemporaryDirectory() as folder:
        root = machine(Path(folder) / "machine")
        bootwatch(root, "baseline", "save", "--reason", "bench", "--yes", "--accept-gaps")
        taken, by_hand = latencies(root)
        late, hand = statistics.median(taken), statistics.median(by_hand)
        ours = f"{late:.2f} s, worst {max(taken):.2f}"
        one = f"{MOST_LATENCY:g} s beside settling"
        yield Figure("watch: deletion to alert", ours, "promised", one, late / MOST_LATENCY, 1.0)
        yield Figure(
            "watch: the same", f"{late:.2f} s", "`snapshot` by hand", f"{hand:.2f} s", late / hand, None
        )
        nothing, (_, second, third) = bare(), memory(root)
        most = (nothing + MOST_MEMORY) / nothing
        said = f"{nothing:.1f} MiB"
        size = nothing + second
        yield Figure(
            "watch: 10,000 events", f"{size:.1f} MiB", "a bare interpreter", said, size / nothing, most
        )
        grown = (nothing + third) / size
        yield Figure(
            "watch: 20,000 events",
            f"{nothing + third:.1f} MiB",
            "after 10,000",
            f"{size:.1f} MiB",
            grown,
            1.03,
        )
        woken = idle(root, pause)
        yield Figure("watch: wake-ups", f"{woken} in {pause:g} s", "promised", "none", float(woken), 0.0)


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--idle", type=float, default=60.0, metavar="SECONDS")
    found = list(figures(parser.parse_args().idle))
    print(table(found))
    return 0 if all(figure.is_within for figure in found) else 1


if __name__ == "__main__":
    sys.exit(main())
