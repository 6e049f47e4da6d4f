"""Boot entries, order and next, as a view of a state's variables (UEFI 2.10 §3.1)."""

from __future__ import annotations

import hashlib
import struct
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from bootwatch.formats import FormatError
from bootwatch.formats.device_path import DevicePath
from bootwatch.formats.load_option import CATEGORY_BOOT, LoadOption
from bootwatch.model.disk import hard_drive_identifier
from bootwatch.model.path import fold
from bootwatch.model.snapshot import State
from bootwatch.model.variable import entry_number, key

# What edk2 puts behind the path of an entry that it makes itself.
MARK_OF_FIRMWARE = bytes.fromhex("4eac0881119f594d850ee21a522c59b2")
_DIGEST_OF_MARK = hashlib.sha256(MARK_OF_FIRMWARE).hexdigest()


@dataclass(frozen=True)
class Entry:
    """A boot entry that the firmware would accept.

    ``target`` is the volume that its hard drive node names ("gpt:GUID", "mbr:SIGNATURE-NUMBER"), else
    "path:" and the whole path in hex; ``data`` the SHA-256 of the optional data; ``partition`` the number in
    the hard drive node; ``category`` the boot category or an application's.
    """

    number: int
    label: str
    active: bool
    target: str
    file: str | None
    data: str
    device_path: bytes
    partition: int | None = None
    category: int = CATEGORY_BOOT

    @property
    def name(self) -> str:
        return entry_name(self.number)

    @property
    def path(self) -> str:
        """The device path as the firmware spells it."""
        return str(DevicePath.parse(self.device_path))

    @property
    def is_firmware_made(self) -> bool:
        """Whether edk2 made it for a device that it found: such entries come and go with the device."""
        return self.data == _DIGEST_OF_MARK

    @property
    def is_tried(self) -> bool:
        """Whether the firmware tries it by itself where the boot order lists it (UEFI 2.10 §3.1.3)."""
        return self.active and self.category == CATEGORY_BOOT

    @property
    def volume(self) -> str | None:
        """The volume that it names, None for an entry without a hard drive node."""
        return None if self.target.startswith("path:") else self.target

    @property
    def place(self) -> tuple[str, str]:
        """Target and folded file."""
        return self.target, fold(self.file or "")

    @property
    def identity(self) -> tuple[str, str, str]:
        """What survives renumbering and relabelling."""
        return (*self.place, self.data)

    def to_json(self) -> dict[str, Any]:
        return {
            "entry": self.name,
            "label": self.label,
            "volume": self.volume,
            "partition": self.partition,
            "file": self.file,
            "path": self.path,
            "active": self.active,
            "data": self.data[:16],
            "firmware_made": self.is_firmware_made,
        }


def entry_name(number: int) -> str:
    return f"Boot{number:04X}"


def read_entries(state: State) -> dict[int, Entry]:
    """Every boot entry by its number, but for what the firmware would discard."""
    entries = {}
    for name in sorted(state.variables):
        number = entry_number(name)
        entry = parse_entry(number, state.variables[name].data) if number is not None else None
        if entry:
            entries[entry.number] = entry
    return entries


def entries_by_name(state: State) -> dict[str, Entry]:
    """The same by their names: Boot0007."""
    return {entry.name: entry for entry in read_entries(state).values()}


@lru_cache(maxsize=1 << 16)
def read_option(data: bytes) -> LoadOption | None:
    """A load option's variable, None when the firmware would discard it as malformed.

    Remembered: both sides of a comparison hold mostly the same ones, and each is looked at more than once.
    """
    try:
        option = LoadOption.parse(data)
    except FormatError:
        return None
    return option if option.is_acceptable else None


@lru_cache(maxsize=1 << 17)
def parse_entry(number: int, data: bytes) -> Entry | None:
    """One entry, None when the firmware would discard it as malformed."""
    option = read_option(data)
    if option is None:
        return None
    drive = option.path.hard_drive()
    volume = drive and hard_drive_identifier(drive.signature_type, drive.signature, drive.partition_number)
    return Entry(
        number=number,
        label=option.description,
        active=option.active,
        target=volume or f"path:{bytes(option.path).hex()}",
        file=option.path.file(),
        data=hashlib.sha256(option.optional_data).hexdigest(),
        device_path=bytes(option.path),
        partition=drive.partition_number if drive else None,
        category=option.category,
    )


def read_order(state: State) -> list[int]:
    """The numbers in BootOrder; empty where there is none."""
    variable = state.variable("BootOrder")
    if variable is None:
        return []
    return [number for (number,) in struct.iter_unpack("<H", variable.data[: len(variable.data) // 2 * 2])]


def read_next(state: State) -> int | None:
    """The number in BootNext, None where it is absent or empty."""
    variable = state.variable("BootNext")
    if variable is None or len(variable.data) < 2:
        return None
    return int.from_bytes(variable.data[:2], "little")


def variable_of(number: int) -> str:
    """The file name of an entry's variable."""
    return key(entry_name(number))
