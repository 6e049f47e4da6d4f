"""Load options, the content of `Boot####` and its like: UEFI 2.10 §3.1.3.

u32 attributes, u16 length of the device path list in bytes, UTF-16 description ended by a NUL, the device
path list, and whatever is left is optional data for the program that gets started.
"""

import struct
from dataclasses import dataclass, field

from . import FormatError, optional_data, utf16
from .device_path import DevicePath

_HEAD = struct.Struct("<IH")
ACTIVE = 0x00000001
FORCE_RECONNECT = 0x00000002
HIDDEN = 0x00000008
CATEGORY = 0x00001F00
CATEGORY_BOOT = 0x00000000
CATEGORY_APPLICATION = 0x00000100
_FLAGS = {ACTIVE: "ACTIVE", FORCE_RECONNECT: "FORCE_RECONNECT", HIDDEN: "HIDDEN"}
_CATEGORIES = {CATEGORY_BOOT: "CATEGORY_BOOT", CATEGORY_APPLICATION: "CATEGORY_APP"}


@dataclass(frozen=True, slots=True)
class LoadOption:
    """One load option. `problems` includes those of its path; firmware may ignore an option that has any."""

    raw: bytes
    attributes: int
    description: str
    path: DevicePath
    optional_data: bytes
    problems: list[str] = field(default_factory=list)

    @classmethod
    def parse(cls, data: bytes) -> "LoadOption":
        """Read a variable's data (without the four bytes that efivarfs puts before it).

        FormatError when it is shorter than its six bytes of header.

        >>> end = bytes.fromhex("7fff0400")
        >>> head = (1).to_bytes(4, "little") + len(end).to_bytes(2, "little")
        >>> option = LoadOption.parse(head + "Quarry".encode("utf-16-le") + bytes(2) + end + b"QY")
        >>> option.description, option.attribute_names, option.optional_data_text, option.problems
        ('Quarry', ('ACTIVE', 'CATEGORY_BOOT'), 'text: QY', [])
        """
        data = bytes(data)
        if len(data) < _HEAD.size:
            raise FormatError(f"a load option has at least {_HEAD.size} bytes, this has {len(data)}")
        attributes, length = _HEAD.unpack_from(data)
        end = utf16.nul_at(data, _HEAD.size)
        if end < 0:
            problems = [
                f"description at byte {_HEAD.size}: no NUL before byte {len(data)}, where the bytes end"
            ]
            return cls(
                data, attributes, utf16.until_nul(data[_HEAD.size :]), DevicePath.parse(b""), b"", problems
            )
        start = end + 2
        path, problems = _path(data, start, length)
        return cls(
            data, attributes, utf16.until_nul(data[_HEAD.size : end]), path, data[start + length :], problems
        )

    def __bytes__(self) -> bytes:
        return self.raw

    @property
    def is_acceptable(self) -> bool:
        """Whether edk2 would keep the option: its description ends, its path list is there and fits, and the
        first path in it ends with an End node of just its header, its file names with a NUL."""
        end = utf16.nul_at(self.raw, _HEAD.size)
        length = _HEAD.unpack_from(self.raw)[1]
        return end >= 0 and 0 < length <= len(self.raw) - end - 2 and self.path.is_valid

    @property
    def active(self) -> bool:
        """The firmware tries only active options of the boot order."""
        return bool(self.attributes & ACTIVE)

    @property
    def hidden(self) -> bool:
        """Not shown in the firmware's menu; started all the same."""
        return bool(self.attributes & HIDDEN)

    @property
    def category(self) -> int:
        """`CATEGORY_BOOT`, `CATEGORY_APPLICATION` (not started in the boot order) or a reserved value."""
        return self.attributes & CATEGORY

    @property
    def attribute_names(self) -> tuple[str, ...]:
        """The attributes as the standard names them, without LOAD_OPTION_, the category last. What it
        reserves is in hex: CATEGORY_0x300 for a category, 0x80000000 for other bits."""
        flags = [name for bit, name in _FLAGS.items() if self.attributes & bit]
        other = self.attributes & ~(ACTIVE | FORCE_RECONNECT | HIDDEN | CATEGORY)
        category = _CATEGORIES.get(self.category) or f"CATEGORY_0x{self.category:X}"
        return (*flags, *([f"0x{other:X}"] if other else []), category)

    @property
    def optional_data_text(self) -> str | None:
        """What the optional data seems to be (see `optional_data.describe`); None where it can't be told."""
        return optional_data.describe(self.optional_data)


def _path(data: bytes, start: int, length: int) -> tuple[DevicePath, list[str]]:
    left = len(data) - start
    path = DevicePath.parse(data[start : start + length])
    problems = []
    if length == 0:
        return path, [f"device path list at byte {start}: empty"]
    if length > left:
        problems.append(f"device path list at byte {start}: {length} bytes long, but only {left} are left")
    problems += [f"device path list at byte {start}: {problem}" for problem in path.problems]
    return path, problems
