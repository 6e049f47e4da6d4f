"""How fast a FAT volume is walked and its files are hashed, without mounting it.

    python -m tests.bench fat

Walking 5,000 files in 200 folders: beside `mdir -/ -b`, start of the program included; ours is timed inside a
running interpreter, as the service reads. Hashing 500 MB out of a volume: beside `openssl dgst -sha256` on
the same bytes as a file. Shown too: the time for as many bytes that never leave the processor's cache, as
`openssl speed` measures; nobody who has to read the bytes first gets there. Each is the median of several
rounds in turn, so that a busy machine slows all.
"""

import hashlib
import statistics
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from bootwatch.formats.fat import Volume
from tests.bench.figure import Figure, milliseconds
from tests.formats.tools import blank, run

FOLDERS, FILES = 200, 25
SIZE = 500_000_000
CHUNK = 512 << 10  # stays in a processor's cache
MOST_WALKING, MOST_HASHING = 5.0, 1.3


def seconds(do: Callable[[], object]) -> float:
    began = time.perf_counter()
    do()
    return time.perf_counter() - began


def medians(*dos: Callable[[], object], rounds: int) -> list[float]:
    """The median time of each, in seconds; they take turns."""
    taken = [[seconds(do) for do in dos] for _ in range(rounds)]
    return [statistics.median(times) for times in zip(*taken, strict=True)]


def many_files(folder: Path) -> Path:
    """As on a boot volume: half of the names are 8.3, half are long."""
    for number in range(FOLDERS):
        inner = folder / "tree" / f"folder of entries {number}"
        inner.mkdir(parents=True)
        for place in range(FILES):
            name = f"Fernwick 6.1.0-{place}-amd64.conf" if place % 2 else f"FILE{place}.EFI"
            (inner / name).write_bytes(b"MZ")
    image = blank(folder / "many", 100 << 20)
    run("mkfs.fat", "-F", "32", "-s", "1", image)
    run("mcopy", "-s", "-Q", "-i", image, *sorted((folder / "tree").iterdir()), "::/")
    return image


def large_file(folder: Path) -> tuple[Path, Path]:
    """A volume with one large file, and that file; mkfs.fat chooses the cluster size."""
    file = folder / "large"
    piece = hashlib.shake_256(b"fernwick").digest(10_000_000)
    with file.open("wb") as out:
        for _ in range(SIZE // len(piece)):
            out.write(piece)
    image = blank(folder / "volume", 600 << 20)
    run("mkfs.fat", "-F", "32", image)
    run("mcopy", "-Q", "-i", image, file, "::/LARGE.IMG")
    return image, file


def walk(image: Path) -> int:
    with image.open("rb") as file:
        return sum(1 for _ in Volume(file).walk())


def hash_in_volume(image: Path) -> bytes:
    digest, buffer = hashlib.sha256(), memoryview(bytearray(CHUNK))
    with image.open("rb", buffering=0) as device, Volume(device).open("\\LARGE.IMG") as file:
        while count := file.readinto(buffer):
            digest.update(buffer[:count])
    return digest.digest()


def hash_in_cache(piece: bytes) -> None:
    """As `openssl speed` does: one piece, again and again."""
    digest = hashlib.sha256()
    for _ in range(SIZE // len(piece)):
        digest.update(piece)


def compare_walking(folder: Path) -> Figure:
    image = many_files(folder)
    program = ["mdir", "-/", "-b", "-i", str(image), "::/"]
    listed = run(*program).splitlines()
    if walk(image) != len(listed):
        raise SystemExit(f"{walk(image)} entries were walked, mdir lists {len(listed)}")
    ours, other = medians(
        lambda: walk(image), lambda: subprocess.run(program, stdout=subprocess.DEVNULL, check=True), rounds=15
    )
    what = f"walking {FOLDERS * FILES} files of a FAT volume"
    return Figure(what, milliseconds(ours), "mdir", milliseconds(other), ours / other, MOST_WALKING)


def compare_hashing(folder: Path) -> Iterator[Figure]:
    image, file = large_file(folder)
    piece = file.read_bytes()[:CHUNK]
    program = ["openssl", "dgst", "-sha256", "-binary", str(file)]
    if hash_in_volume(image) != subprocess.run(program, capture_output=True, check=True).stdout:
        raise SystemExit("the digests differ")
    ours, other, cached = medians(
        lambda: hash_in_volume(image),
        lambda: subprocess.run(program, capture_output=True, check=True),
        lambda: hash_in_cache(piece),
        rounds=7,
    )
    what, mine = f"hashing {SIZE // 1_000_000} MB of a FAT volume", milliseconds(ours)
    yield Figure(what, mine, "openssl dgst", milliseconds(other), ours / other, MOST_HASHING)
    yield Figure(what, mine, "OpenSSL on cached bytes", milliseconds(cached), ours / cached, None)


def figures() -> Iterator[Figure]:
    with tempfile.TemporaryDirectory(prefix="bench.") as name:
        yield compare_walking(Path(name))
        yield from compare_hashing(Path(name))
