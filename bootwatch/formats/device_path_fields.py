"""What the text forms of device path nodes (UEFI 2.10 §10.6) share: types, and how fields are printed.

Numbers, GUIDs and bytes are printed with upper-case hex digits, numbers without leading zeros, one-byte text
as the firmware widens it: each byte a character.
"""

import struct
from collections.abc import Callable
from typing import NamedTuple

from . import guid

HARDWARE, ACPI, MESSAGING, MEDIA, BBS, END = 0x01, 0x02, 0x03, 0x04, 0x05, 0x7F
END_INSTANCE, END_ENTIRE = 0x01, 0xFF

Text = Callable[[bytes], str]


class Form(NamedTuple):
    """The text of one node type: the fewest bytes that its payload has, and the text of such a payload."""

    least: int
    text: Text


Forms = dict[tuple[int, int], Form]


def plain(layout: str, template: str) -> Form:
    """Fields as `struct` lays them out, shown by a template in which `{0:X}` is the first field in hex.

    >>> plain("BB", "Pci(0x{1:X},0x{0:X})").text(bytes([2, 0x1F]))
    'Pci(0x1F,0x2)'
    """
    fields = struct.Struct("<" + layout)
    return Form(fields.size, lambda data: template.format(*fields.unpack_from(data)))


def named(name: str) -> Form:
    """A GUID in parentheses behind a name."""
    return Form(guid.SIZE, lambda data: f"{name}({guid_text(data)})")


def vendor(name: str) -> Form:
    """A vendor node: its GUID, and behind a comma what follows it."""

    def text(data: bytes) -> str:
        more = data[guid.SIZE :]
        return f"{name}({guid_text(data)}{',' + hex_text(more) if more else ''})"

    return Form(guid.SIZE, text)


def hex_text(data: bytes) -> str:
    """Two digits a byte."""
    return data.hex().upper()


def guid_text(data: bytes) -> str:
    """The GUID in the first 16 bytes."""
    return guid.from_bytes(data[: guid.SIZE]).upper()


def ascii_text(data: bytes) -> str:
    """Up to the first NUL or the end."""
    return data.split(b"\0", 1)[0].decode("latin-1")


def signed(value: int, bits: int = 32) -> int:
    """The firmware prints decimals as signed numbers, whatever the standard says of the field.

    >>> signed(0xFFFFFFFE), signed(7)
    (-2, 7)
    """
    return value - ((value >> (bits - 1) & 1) << bits)
