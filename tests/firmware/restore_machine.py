"""The machine that damages happen to: Fernwick Linux on one disk, Quarry on the other, one small EFI program
each, that says whose it is; the same machine as a root that bootwatch reads and writes."""

import os
import shutil
import struct
import subprocess
import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from bootwatch.model.variable import split_file_name
from tests.firmware import cache
from tests.firmware.disk import Disk, Fat, Partition
from tests.firmware.firmware import X64
from tests.firmware.image import Format, Image
from tests.firmware.machine import Machine
from tests.firmware.programs import program
from tests.firmware.starts.places import PLACES, Place
from tests.firmware.starts.root import lay
from tests.firmware.starts.start import Result, start
from tests.firmware.variables import GLOBAL, Variables, file_on, load_option
from tests.firmware.volume import Volume

DEFAULT = X64.default_file
CHECKOUT = Path(__file__).parents[2]
_BOOTWATCH = "import sys; from bootwatch.cli.main import main; sys.exit(main())"
# Made afresh at each start, so they are no part of the store.
_VOLATILE = ("BootCurrent", "BootOptionSupport", "OsIndicationsSupported", "PlatformRecovery")


@dataclass(frozen=True)
class System:
    """One of the two, by what its program says of itself; `number` is its entry's."""

    name: str
    label: str
    number: int
    loader: str
    partition: str
    place: Place
    data: bytes = b""

    @property
    def disk(self) -> Disk:
        return self.disk_with(DEFAULT)

    def disk_with(self, *more: str) -> Disk:
        """With the loader under these names too."""
        own = program(self.name)
        files = {
            f"\\EFI\\{self.name}\\settings.conf": b"timeout 5\n",
            **dict.fromkeys((self.loader, *more), own),
        }
        return Disk(
            (Partition(self.partition, content=Fat(files, label=self.name.upper())),),
            guid=self.partition.replace("-0001-", "-00dd-"),
        )

    def option(self, *, full: bool = False, attributes: int = 1, data: bytes | None = None) -> bytes:
        """Its entry, by the short form of the path or by the whole one."""
        path = (self.place.path() if full else b"") + file_on(self.disk, 1, self.loader)
        return load_option(self.label, path, attributes=attributes, data=self.data if data is None else data)


_PLACE = {place.name: place for place in PLACES}
FERNWICK = System(
    "fernwick",
    "Fernwick Linux",
    0,
    "\\EFI\\fernwick\\loaderx64.efi",
    "f1000000-0001-4000-8000-000000000001",
    _PLACE["virtio0"],
)
QUARRY = System(
    "quarry",
    "Quarry",
    1,
    "\\EFI\\quarry\\startx64.efi",
    "0a100000-0001-4000-8000-000000000001",
    _PLACE["sata0"],
    b"QRY1",
)
SYSTEMS = (FERNWICK, QUARRY)


@dataclass
class Dual:
    """The two systems' machine in a folder, off. Usually Fernwick Linux starts by itself."""

    folder: Path
    places: dict[str, Place]

    @classmethod
    def made(cls, folder: Path, *, full: bool = False, defaults: bool = True) -> Self:
        """A copy of one that has already started once, so that the firmware has made its own entries, which
        lead to default files. `full`: entries have whole device paths; `defaults`: there are such files."""
        programs = [program(system.name) for system in SYSTEMS]
        recipe: list[str | bytes] = [
            Path(__file__).read_bytes(),
            X64.code.read_bytes(),
            str((full, defaults)),
            *programs,
        ]
        kept = cache.cached("two-systems", recipe, lambda aside: cls._build(aside, full, defaults))
        for file in kept.glob("*.raw"):
            cache.copy(file, folder / file.name)
        return cls(folder, {system.name: system.place for system in SYSTEMS})

    @classmethod
    def _build(cls, folder: Path, full: bool, defaults: bool) -> None:
        for system in SYSTEMS:
            system.disk_with(*[DEFAULT] * defaults).write(folder / f"{system.name}.raw")
        cache.copy(X64.variables, folder / "variables.raw")
        made = cls(folder, {system.name: system.place for system in SYSTEMS})
        with made.variables() as variables:
            for system in SYSTEMS:
                variables.set(f"Boot{system.number:04X}", system.option(full=full))
            variables.order = [system.number for system in SYSTEMS]
        made.start()

    # the machine

    @property
    def machine(self) -> Machine:
        store = Image(self.folder / "variables.raw", Format.RAW)
        drives = tuple(place.drive(self.image(name)) for name, place in self.places.items())
        return Machine(self.folder, drives, X64, given=store)

    def image(self, name: str) -> Image:
        """The disk of the system of that name."""
        return Image(self.folder / f"{name}.raw", Format.RAW)

    def volume(self, system: System) -> Volume:
        """Its boot volume's files."""
        return Volume(self.image(system.name).path, system.disk.place(1)[0])

    def variables(self) -> AbstractContextManager[Variables]:
        return self.machine.variables()

    def start(self) -> Result:
        """Once, by the real firmware."""
        return start(self.machine)

    @contextmanager
    def unchanged(self) -> Iterator[None]:
        """What starts within leave on disks and in variables is taken back."""
        images = sorted(self.folder.glob("*.raw"))
        kept = {image: image.with_suffix(".kept") for image in images}
        for image, aside in kept.items():
            cache.copy(image, aside)
        try:
            yield
        finally:
            for image, aside in kept.items():
                aside.replace(image)

    # the same as a root

    @property
    def root(self) -> Path:
        return self.folder / "root"

    def look(self) -> None:
        """The root as the machine is now; what bootwatch keeps there stays."""
        for part in ("sys", "dev", "proc"):
            shutil.rmtree(self.root / part, ignore_errors=True)
        images = {place: self.image(name) for name, place in self.places.items()}
        with self.variables() as variables:
            lay(self.root, images, variables.efivars(), X64.architecture)
        boot_id = self.root / "proc/sys/kernel/random/boot_id"
        boot_id.parent.mkdir(parents=True)
        boot_id.write_text(f"{os.urandom(4).hex()}-0000-4000-8000-000000000000\n")

    def put_back(self) -> None:
        """What was written to the root's variables goes to the firmware's store."""
        folder = self.root / "sys/firmware/efi/efivars"
        later = {path.name: path.read_bytes() for path in folder.iterdir()}
        with self.variables() as variables:
            former = variables.efivars()
            for name in former.keys() - later.keys():
                variables.delete(_plain(name))
            for name, value in later.items():
                if former.get(name) != value and not _plain(name).startswith(_VOLATILE):
                    (attributes,) = struct.unpack_from("<I", value)
                    variables.set(_plain(name), value[4:], guid=GLOBAL, attributes=attributes)

    def bootwatch(self, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
        """A command on the root, by a process of its own."""
        return _run([sys.executable, "-c", _BOOTWATCH, "--root", self.root, *arguments], CHECKOUT)

    def save_baseline(self) -> None:
        """With a kit beside it."""
        self.look()
        done = self.bootwatch("baseline", "save", "--reason", "both start", "--yes")
        assert done.returncode == 0, done.stderr
        stick = self.folder / "stick"
        stick.mkdir()
        done = self.bootwatch("baseline", "export", "--to", stick)
        assert done.returncode == 0, done.stderr

    @property
    def kit(self) -> Path:
        """The one that was made with the baseline."""
        (kit,) = (self.folder / "stick").iterdir()
        return kit

    def kits_program(self, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
        """A command of the program in the kit, by the distribution's Python without any libraries."""
        command = ["/usr/bin/python3", "-I", "-S", "bootwatch.pyz", "--root", self.root, *arguments]
        return _run(command, self.kit)


def _run(command: list[str | Path], folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command, cwd=folder, capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL
    )


def _plain(file_name: str) -> str:
    found = split_file_name(file_name)
    assert found, file_name
    return found[0]
