"""A guest with Fernwick Linux and the other system's volumes: resumed, or started cold; driven by its agent.

with Guest.resumed(tmp_path) as guest:
    guest.run("touch /boot/efi/seen")
    guest.power_off()
    with guest.volume(QUARRY_ESP) as volume:
        volume.remove("\\EFI\\quarry\\loaderx64.efi")
    guest.start()
"""

from collections.abc import Iterator
from contextlib import contextmanager, suppress
from enum import Enum
from pathlib import Path
from types import TracebackType
from typing import Self

from tests.firmware import base, cache, firmware, tool
from tests.firmware.agent import Agent, Result
from tests.firmware.drive import Drive
from tests.firmware.image import Format, Image
from tests.firmware.machine import Machine
from tests.firmware.process import SILENCE, Process
from tests.firmware.volume import Volume

NAMES = ("fernwick", "quarry", "variables")
SNAPSHOT = "booted"
BOOT_SILENCE = 180.0
DEVICES = (
    *("-device", "virtio-rng-pci,addr=0x2"),
    *("-device", "virtio-serial-pci,addr=0x1", "-device", "virtserialport,chardev=agent,name=agent"),
)


class Place(Enum):
    """The guest's volumes: disk and partition number."""

    FERNWICK_ESP = (0, 1)
    QUARRY_ESP = (1, 1)
    QUARRY_DATA = (1, 2)


class Guest:
    """One guest on a set of images in a folder. As a context manager it ends the machine and, when all went
    well, removes the images."""

    def __init__(
        self, folder: Path, images: tuple[Image, Image, Image], more: tuple[Drive, ...] = ()
    ) -> None:
        first, second, store = images
        drives = (Drive(first), Drive(second, unit=1), *more)
        self.machine = Machine(folder, drives, memory=512, processors=2, arguments=DEVICES, given=store)
        self.boot_id = ""
        self._process: Process | None = None

    @classmethod
    def resumed(cls, folder: Path) -> Self:
        """A guest that has already started; it answers at once."""
        kept = booted()
        for name in NAMES:
            cache.copy(kept / f"{name}.qcow2", folder / f"{name}.qcow2")
        guest = cls(folder, _images(folder))
        guest._power_on("-loadvm", SNAPSHOT)
        guest.boot_id = guest.get("/proc/sys/kernel/random/boot_id").decode().strip()
        return guest

    @classmethod
    def started(cls, folder: Path, more: tuple[Drive, ...] = ()) -> Self:
        """A guest started cold, its disks as they were built, with more disks beside them."""
        for name, image in zip(NAMES, base.disks(), strict=True):
            image.overlay(folder / f"{name}.qcow2")
        guest = cls(folder, _images(folder), more)
        guest.start()
        return guest

    def start(self, *arguments: str) -> None:
        """Switches the machine on; returns when the agent answers."""
        self._power_on(*arguments)
        self.boot_id = self._agent.ready(BOOT_SILENCE)

    def start_unseen(self, *arguments: str) -> None:
        """Switches the machine on and cuts its power at the first word of an EFI program: a start that the
        system doesn't see."""
        self._power_on(*arguments)
        self.process.wait_event(self.process.console, "event", BOOT_SILENCE)
        self.cut_power()

    def _power_on(self, *arguments: str) -> None:
        self._process = Process([*self.machine.command(), *arguments], self.machine.folder)
        self._agent = Agent(self._process)

    @property
    def process(self) -> Process:
        """The running machine."""
        if self._process is None:
            raise RuntimeError("the guest is off")
        return self._process

    def run(self, command: str, silence: float = SILENCE) -> Result:
        """Runs a shell command as root: exit status and output."""
        return self._agent.run(command, silence)

    def check(self, command: str, silence: float = SILENCE) -> str:
        """The same, for a command that has to succeed: its output."""
        status, output = self.run(command, silence)
        if status != 0:
            raise self.process.failure(f"`{command}` ended with {status}:\n{output}")
        return output

    def put(self, path: str, content: bytes, mode: int = 0o644) -> None:
        """Writes a file in the guest."""
        self._agent.put(path, content, mode)

    def get(self, path: str) -> bytes:
        """Reads a file in the guest."""
        return self._agent.get(path)

    def power_off(self) -> None:
        """Shuts the system down and waits until the machine is off."""
        with suppress(ConnectionError):
            self.process.agent.send({"run": "systemctl --no-block poweroff"})
        self.process.wait_end(BOOT_SILENCE)
        self._process = None

    def cut_power(self) -> None:
        """Ends the machine at once, as when the power fails."""
        if self._process is not None:
            self._process.kill()
            self._process = None

    @contextmanager
    def volume(self, place: Place) -> Iterator[Volume]:
        """A FAT volume's files, to read and to change, while the machine is off."""
        number, partition = place.value
        offset, size = (base.fernwick(), base.quarry())[number].place(partition)
        with self.machine.drives[number].image.opened(offset, size) as part:
            yield Volume(part)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.cut_power()
        if kind is None:
            for image in _images(self.machine.folder):
                image.path.unlink()


def _images(folder: Path) -> tuple[Image, Image, Image]:
    first, second, store = (Image(folder / f"{name}.qcow2", Format.QCOW2) for name in NAMES)
    return first, second, store


def booted() -> Path:
    """The folder with a set of images whose snapshot holds a started guest; made when it isn't there yet."""
    parts = ("guest.py", "machine.py", "drive.py", "firmware.py", "process.py")
    own = [(Path(__file__).parent / name).read_bytes() for name in parts]
    emulator = tool.run([firmware.X64.arguments[0], "--version"])
    bases = [str(image.path) for image in base.disks()]
    return cache.cached("booted", [*own, *bases, emulator, firmware.X64.code.read_bytes()], _boot)


def _boot(folder: Path) -> None:
    guest = Guest.started(folder)
    try:
        guest.run("systemctl is-system-running --wait")
        if failed := guest.check("systemctl list-units --failed --no-legend"):
            raise guest.process.failure(f"units failed while the guest started:\n{failed}")
        # What the page cache holds would be copied for every test.
        guest.check("sync; echo 3 > /proc/sys/vm/drop_caches")
        guest.process.snapshot(SNAPSHOT)
    finally:
        guest.cut_power()
