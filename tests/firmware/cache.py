"""What is dear to make and cheap to keep: built once for each recipe, outside the checkout."""

import fcntl
import hashlib
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

KEPT_UNUSED = 7 * 24 * 3600.0


def root() -> Path:
    """The folder of everything that is kept between runs; made when it is missing."""
    folder = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "bootwatch-tests"
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def digest(parts: Iterable[str | bytes]) -> str:
    """SHA-256 over the parts and their lengths, in hex."""
    sum_ = hashlib.sha256()
    for part in parts:
        data = part.encode() if isinstance(part, str) else part
        sum_.update(b"%d:" % len(data) + data)
    return sum_.hexdigest()


def tree(folder: Path) -> Iterator[str | bytes]:
    """Every file below the folder as parts of a recipe: name, whether it may be run, content."""
    files = (path for path in folder.rglob("*") if path.is_file() and "__pycache__" not in path.parts)
    for path in sorted(files):
        yield str(path.relative_to(folder))
        yield str(bool(path.stat().st_mode & 0o100))
        yield path.read_bytes()


@contextmanager
def locked(name: str) -> Iterator[None]:
    """Only one process at a time gets past this line for that name."""
    with (root() / f"{name}.lock").open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def cached(name: str, recipe: Iterable[str | bytes], build: Callable[[Path], None]) -> Path:
    """The folder that `build` filled for exactly this recipe; if it isn't there, built aside and renamed."""
    folder = root() / f"{name}-{digest(recipe)[:32]}"
    with locked(name):
        if not folder.exists():
            _build(folder, build)
            _forget_unused(name)
    os.utime(folder)
    return folder


def _build(folder: Path, build: Callable[[Path], None]) -> None:
    aside = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.parent))
    try:
        build(aside)
        aside.chmod(0o755)
        aside.rename(folder)
    except BaseException:
        shutil.rmtree(aside, ignore_errors=True)
        raise


def _forget_unused(name: str) -> None:
    """Older versions go when nobody has used them for a while: another checkout may still do so."""
    for folder in root().glob(f"{name}-{'?' * 32}"):
        if time.time() - folder.stat().st_mtime > KEPT_UNUSED:
            shutil.rmtree(folder, ignore_errors=True)


def copy(source: Path, target: Path) -> None:
    """Copies a file without filling its holes; shares its blocks where the file system can."""
    subprocess.run(["cp", "--sparse=always", "--reflink=auto", "--", source, target], check=True)
