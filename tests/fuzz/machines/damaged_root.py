"""One machine root that is damaged and mended again, thousands of times."""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass, field
from pathlib import Path

from bootwatch.cli.main import main
from tests.fuzz.machines.said import quietly
from tests.roots import FERNWICK_ESP, Root, dual

SETTINGS = """\
machine: study
systems:
  - name: Quarry
    join: ['\\EFI\\quarry']
levels:
  - change: file-changed
    path: '\\EFI\\quarry\\*'
    level: routine
looked_after_by: {name: Anna, phone: '0123'}
"""
BOOT_LOG = Path(__file__).parents[2] / "formats/samples/event_log_agile.bin"
# Below the state: a recovery kit of the whole machine.
KIT = "study-kit.zip"
_LIST = "\ufeffloaderx64.efi,Fernwick Linux,,\n"
LOG = "sys/kernel/security/tpm0/binary_bios_measurements"


@dataclass
class DamagedRoot:
    """The machine and its state; each change remembers what was there.

    ``blind`` holds what nobody can read any more: ("variables", name) or ("disk", name). ``touched`` holds
    the disks whose content was changed, ``failing`` those that give an error from one byte to another.
    """

    root: Root
    state: Path
    blind: set[tuple[str, str]] = field(default_factory=set)
    touched: set[str] = field(default_factory=set)
    failing: dict[str, tuple[int, int]] = field(default_factory=dict)
    _former: dict[Path, bytes | None] = field(default_factory=dict)
    _patched: list[tuple[Path, int, bytes]] = field(default_factory=list)

    @property
    def folder(self) -> Path:
        return self.root.folder

    def path(self, below: str) -> Path:
        return self.folder / below

    def read(self, below: str) -> bytes:
        try:
            return self.path(below).read_bytes()
        except OSError:
            return b""

    def write(self, below: str, data: bytes) -> None:
        """Other content, or a new file."""
        path = self._taken_away(below)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)

    def remove(self, below: str) -> None:
        self._taken_away(below)

    def make_folder(self, below: str) -> None:
        """A folder where a file should be: it is there, and reading it fails."""
        self._taken_away(below).mkdir(parents=True)

    def make_pipe(self, below: str) -> None:
        """A pipe where a file should be: whoever waits for what comes out of it waits for ever."""
        os.mkfifo(self._taken_away(below))

    def make_link(self, below: str, target: str) -> None:
        self._taken_away(below).symlink_to(target)

    def patch(self, below: str, offset: int, data: bytes) -> None:
        """Other bytes within a large file."""
        path = self.path(below)
        with path.open("r+b") as file:
            file.seek(offset)
            self._patched.append((path, offset, file.read(len(data))))
            file.seek(offset)
            file.write(data)

    def cut(self, below: str, size: int) -> None:
        """A disk image that ends before its disk does. Nothing else may be done to it."""
        path = self.path(below)
        self._patched.append((path, size, path.read_bytes()[size:]))
        os.truncate(path, size)

    def mend(self) -> None:
        """Put everything back, last change first."""
        for path, offset, data in reversed(self._patched):
            with path.open("r+b") as file:
                file.seek(offset)
                file.write(data)
        for path, former in self._former.items():
            _remove(path)
            if former is not None:
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(former)
        for one in (self._former, self._patched, self.blind, self.touched, self.failing):
            one.clear()

    def fresh_state(self, template: Path) -> None:
        shutil.rmtree(self.state, ignore_errors=True)
        shutil.copytree(template, self.state)

    def _taken_away(self, below: str) -> Path:
        path = self.path(below)
        if path not in self._former:
            is_file = path.is_file() and not path.is_symlink()
            self._former[path] = path.read_bytes() if is_file else None
        _remove(path)
        return path


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


def build(folder: Path) -> DamagedRoot:
    """The usual machine with texts, a log of measurements, a baseline and a start, and a state to begin from
    in ``folder/template``."""
    root = dual(folder / "root")
    root.put("vda", 1, "\\EFI\\fernwick\\BOOTX64.CSV", _LIST.encode("utf-16-le"))
    root.put("vda", 1, "\\loader\\loader.conf", b"timeout 5\n")
    root.write("etc/fstab", f"PARTUUID={FERNWICK_ESP} /boot/efi vfat umask=0077 0 2\n")
    root.write("etc/os-release", 'NAME="Fernwick Linux"\nID=fernwick\nVERSION_ID="4"\n')
    for name in ("sys_vendor", "product_name", "bios_vendor", "bios_version", "bios_date"):
        root.write(f"sys/class/dmi/id/{name}", f"study {name}")
    root.write("var/log/dpkg.log", "2026-11-02 10:00:00 upgrade fernwick-loader:amd64 4 5\n")
    log = root.folder / LOG
    log.parent.mkdir(parents=True)
    log.write_bytes(BOOT_LOG.read_bytes())
    root.write("etc/bootwatch/bootwatch.yaml", SETTINGS)
    template = folder / "template"
    for command in (
        ["baseline", "save", "--reason", "both start", "--yes"],
        ["snapshot", "--moment", "boot"],
        ["baseline", "export", "--to", str(template / KIT)],
    ):
        with quietly() as said:
            status = main(["--root", str(root.folder), "--state", str(template), *command])
        assert status == 0, said.err
    return DamagedRoot(root, folder / "state")
