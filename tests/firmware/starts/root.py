"""The machine root of a machine that is off: what its system would see, in the files that bootwatch reads."""

import os
from pathlib import Path
from typing import Any

from bootwatch.model.snapshot import Moment, Snapshot
from bootwatch.observe import machine as observed
from bootwatch.observe.snapshot import observe
from tests.firmware.image import Image
from tests.firmware.programs import Architecture
from tests.firmware.starts import nodes
from tests.firmware.starts.places import Place, sysfs, volatile
from tests.firmware.variables import GLOBAL

BOOT_AND_RUNTIME = b"\6\0\0\0"
KERNEL_NAMES = {
    Architecture.X64: ("x86_64", "64"),
    Architecture.IA32: ("x86_64", "32"),
    Architecture.AA64: ("aarch64", "64"),
}


def look(
    folder: Path, disks: dict[Place, Image], variables: dict[str, bytes], architecture: Architecture
) -> Snapshot:
    """Builds the root in the folder and lets bootwatch look at it. The images have to be raw."""
    lay(folder, disks, variables, architecture)
    return observe(observed.Machine(folder), Moment.SHUTDOWN)


def lay(
    folder: Path, disks: dict[Place, Image], variables: dict[str, bytes], architecture: Architecture
) -> None:
    """Builds the root in the folder, which may hold what no firmware or kernel makes."""
    folder.mkdir(exist_ok=True)
    arch, bits = KERNEL_NAMES[architecture]
    _write(folder / "proc/sys/kernel/arch", arch)
    _write(folder / "sys/firmware/efi/fw_platform_size", bits)
    efivars = folder / "sys/firmware/efi/efivars"
    efivars.mkdir()
    for name, value in {**_volatile(architecture), **variables}.items():
        (efivars / name).write_bytes(value)
    (folder / "sys/class/block").mkdir(parents=True)
    (folder / "dev").mkdir()
    for place, image in disks.items():
        _attach(folder, sysfs(architecture)[place.name], image)


def _volatile(architecture: Architecture) -> dict[str, bytes]:
    """What the firmware makes afresh at each start, as a guest saw it. The 32-bit firmware had no guest: it
    differs in the name of the default file."""
    found = {name: value for name, value in volatile(architecture).items() if _is_wanted(name)}
    return {**found, f"PlatformRecovery0000-{GLOBAL}": BOOT_AND_RUNTIME + recovery(architecture)}


def recovery(architecture: Architecture) -> bytes:
    """The option that edk2 makes for recovery."""
    path = nodes.file(f"\\EFI\\BOOT\\BOOT{architecture}.EFI") + nodes.END
    return nodes.option("Default PlatformRecovery", path)


def _is_wanted(name: str) -> bool:
    return name.endswith(GLOBAL) and not name.startswith(("BootCurrent", "Con", "Err"))


def _attach(folder: Path, record: dict[str, Any], image: Image) -> None:
    """The disk as the kernel laid it in the guest."""
    name, link = record["name"], record["link"]
    os.link(image.path, folder / "dev" / name)
    place = folder / "sys/class/block" / name
    place.symlink_to(link)
    device = Path(os.path.normpath(place.parent / link))
    files = {**record["files"], "size": str(image.path.stat().st_size // 512)}
    for file, text in files.items():
        _write(device / file, text)
    for file, text in record["ports"].items():
        _write(folder / "sys/devices" / file, text)


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text + "\n")
