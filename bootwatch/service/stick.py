"""A stick that starts: a UEFI shell as its default file, and scripts that find the right kit on it."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from bootwatch.formats import FormatError
from bootwatch.formats.pe import SUBSYSTEM_APPLICATION, Image
from bootwatch.judge.architecture import Architecture
from bootwatch.model.disk import Disk
from bootwatch.observe.machine import Machine
from bootwatch.observe.mounts import FAT_NAMES, read_mounts
from bootwatch.places import Places
from bootwatch.problem import Problem, UsageProblem
from bootwatch.recover.folder import Folder
from bootwatch.recover.shell_stick import BESIDE, NAME, Listed, at_top, beside, is_ours

# As Debian 13 packages it: efi-shell-x64, efi-shell-aa64 and so on.
_PACKAGE = "efi-shell-{0}"
_PACKAGED = "/usr/share/efi-shell-{0}/shell{0}.efi"
_LARGEST = 16 << 20
_AT_TOP, _BESIDE = f"\\{NAME}", "\\" + "\\".join(BESIDE)
_NOTHING_WRITTEN = "Nothing was written."


@dataclass(frozen=True)
class Shell:
    """A shell that the machine's firmware runs, by its headers, and where firmware looks for it."""

    file: Path
    data: bytes
    default_file: str


def shell_for(named: str, architecture: Architecture) -> Shell:
    """The file that is named, or the one that the distribution packages. The file is the administrator's own
    choice: its headers are looked at here. Raises UsageProblem for what firmware wouldn't run."""
    own = architecture.name.lower()
    file = Path(named or _PACKAGED.format(own))
    try:
        data = _read(file)
    except FileNotFoundError as error:
        packaged = f"Install {_PACKAGE.format(own)}, where the distribution has it, or name"
        hint = f"{packaged} the shell's file: --with-shell FILE"
        raise UsageProblem(f"There is no UEFI shell {file}. {_NOTHING_WRITTEN}", hint) from error
    except OSError as error:
        raise UsageProblem(f"{file} can't be read: {error.strerror}. {_NOTHING_WRITTEN}") from error
    wrong = _wrong_with(data, architecture)
    if wrong:
        hint = f"It takes a UEFI shell for {architecture.name}, which this machine's firmware runs."
        raise UsageProblem(f"{file} can't start a stick here: {wrong}. {_NOTHING_WRITTEN}", hint)
    return Shell(file, data, architecture.default_file)


def _read(file: Path) -> bytes:
    with os.fdopen(os.open(file, os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK), "rb") as held:
        if not stat.S_ISREG(os.fstat(held.fileno()).st_mode):
            raise UsageProblem(f"{file} is no plain file. {_NOTHING_WRITTEN}")
        return held.read(_LARGEST + 1)


def _wrong_with(data: bytes, architecture: Architecture) -> str:
    if len(data) > _LARGEST:
        return f"it is larger than any shell ({_LARGEST >> 20} MiB)"
    try:
        image = Image.parse(data)
    except FormatError as error:
        return str(error)
    if not architecture.runs(image.machine):
        return f"it is made for {image.machine_name}, and the firmware runs {architecture.name}"
    if image.subsystem != SUBSYSTEM_APPLICATION:
        return "it is no EFI application"
    return "it is cut short" if image.truncated else ""


# the stick


def require_stick(places: Places, to: Path, known: Iterable[Disk]) -> None:
    """Raise UsageProblem unless ``to`` is the top of a stick's FAT volume: firmware looks nowhere else.
    ``known`` are the baseline's disks: a shell is nothing for those that are built in."""
    if not to.is_dir():
        raise UsageProblem(
            f"{to} is no stick that could start.", "Name the folder that the stick is mounted at."
        )
    if not places.is_this_machine:
        return
    if not _is_top(to):
        raise UsageProblem(
            f"{to} is not the top of a mounted FAT volume: firmware would find no shell there. "
            f"{_NOTHING_WRITTEN}",
            "Name the folder that the stick is mounted at.",
        )
    address, _ = attached(to)
    if any(one.address == address and not one.removable for one in known):
        raise UsageProblem(
            f"{to} lies on a disk that is built into this machine. {_NOTHING_WRITTEN}",
            "A shell is placed on sticks only.",
        )


def _is_top(to: Path) -> bool:
    """Whether a whole FAT volume is mounted there: nobody can have put links on that, so root may write."""
    folder = str(to.resolve())
    mount = next((one for one in reversed(read_mounts(Machine())) if one.folder == folder), None)
    return mount is not None and mount.kind in FAT_NAMES and mount.is_whole


def attached(to: Path) -> tuple[str, bool]:
    """Where the stick's disk hangs, "" where that can't be seen, and whether it calls itself removable."""
    # Only where files are handed around as disks does this import cost nothing.
    from bootwatch.observe.blocks import read_drives

    about = os.stat(to).st_dev
    device = f"{os.major(about)}:{os.minor(about)}"
    try:
        drives = read_drives(Machine())
    except OSError:
        return "", True
    for drive in drives:
        if device in (drive.device, *(node.device for node in drive.nodes)):
            return drive.address, drive.removable
    return "", True


def require_room(to: Path, shell: Shell) -> None:
    """Raise UsageProblem where something else lies in the place of what would be written."""
    top = Folder(to)
    top.require_writable()
    for path in (_AT_TOP, _BESIDE):
        held = top.read(path)
        if held is not None and not is_ours(held):
            raise _foreign(to, path)
    held = top.read(shell.default_file)
    if held is not None and held != shell.data:
        raise _foreign(to, shell.default_file)


def _foreign(to: Path, path: str) -> UsageProblem:
    return UsageProblem(
        f"The stick {to} has a file {path} of its own, which bootwatch doesn't replace. {_NOTHING_WRITTEN}",
        "Take another stick, or move that file away.",
    )


def place(to: Path, shell: Shell, kits: Iterable[Listed]) -> None:
    """Scripts first, the shell last, each read back. What is there already stays as it is. Raises Problem."""
    files = {_AT_TOP: at_top(kits), _BESIDE: beside(), shell.default_file: shell.data}
    _write(Folder(to), files)


def starts(places: Places, to: Path) -> bool:
    """Whether a shell was placed there by bootwatch before."""
    try:
        if not to.is_dir() or (places.is_this_machine and not _is_top(to)):
            return False
        held = Folder(to).read(_AT_TOP)
    except (OSError, Problem):
        return False
    return held is not None and is_ours(held)


def renew(to: Path, kits: Iterable[Listed]) -> None:
    """The list of kits, on a stick that has one. Raises Problem."""
    _write(Folder(to), {_AT_TOP: at_top(kits)})


def _write(top: Folder, files: dict[str, bytes]) -> None:
    for path, data in files.items():
        try:
            if top.read(path) == data:
                continue
            top.write(path, data)
            is_back = top.read(path) == data
        except OSError as error:
            raise Problem(
                f"{path} can't be written to the stick: {error.strerror}. The kit itself is written.",
                "See whether there is room; then run it once more with --yes.",
            ) from error
        if not is_back:
            raise Problem(f"{path} does not come back from the stick as it was written.", "Take another one.")
