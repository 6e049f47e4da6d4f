"""Version resources of PE images (PE/COFF 8.3 §6.9 ".rsrc"; VS_VERSIONINFO).

The resource tree has three levels of directories (type, name, language): 16 bytes whose last two u16 count
named and numbered entries, then entries of u32 id and u32 offset from the tree's start (top bit: another
directory). A leaf is u32 address, u32 size. A version block is u16 length, u16 value length, u16 kind, a
UTF-16 key, the value and child blocks, each aligned to 4 bytes; VS_VERSION_INFO holds StringFileInfo, that a
table a language, that the strings.
"""

import struct
from collections.abc import Iterator

from . import FormatError, utf16

# The tree comes before what it leads to; the length of a version block is a u16.
MAX_TREE = 1 << 18
MAX_BLOCK = 1 << 16
_COUNTS = struct.Struct("<12xHH")
_ENTRY = struct.Struct("<II")
_LEAF = struct.Struct("<II")
_BLOCK = struct.Struct("<HHH")
_TYPE_VERSION = 16
_SUBDIRECTORY = 0x80000000
_MAX_STRINGS = 256
_MAX_ENTRIES = 4096


def find(tree: bytes) -> tuple[int, int] | None:
    """Address and size in bytes of the first version resource; None where the tree names none.

    FormatError where the way to it leads out of `tree`, the first bytes of the resources.
    """
    offset = _child(tree, 0, _TYPE_VERSION)
    if offset is None:
        return None
    for _level in range(2):
        if not offset & _SUBDIRECTORY:
            raise FormatError("the version resource lies too high in the resource tree")
        offset = _child(tree, offset & ~_SUBDIRECTORY, None) or 0
    if offset & _SUBDIRECTORY or offset + _LEAF.size > len(tree):
        raise FormatError(f"the version resource's leaf at offset {offset:#x} is not in the resource tree")
    address, size = _LEAF.unpack_from(tree, offset)
    return address, size


def _child(data: bytes, at: int, wanted: int | None) -> int | None:
    """The offset in the entry of id `wanted`, or in the first entry."""
    if at + _COUNTS.size > len(data):
        raise FormatError(f"the resource directory at offset {at:#x} is cut off")
    named, numbered = _COUNTS.unpack_from(data, at)
    at += _COUNTS.size
    for _index in range(min(named + numbered, _MAX_ENTRIES)):
        if at + _ENTRY.size > len(data):
            raise FormatError(f"the resource directory is cut off at offset {at:#x}")
        number, offset = _ENTRY.unpack_from(data, at)
        if wanted is None or number == wanted:
            return int(offset)
        at += _ENTRY.size
    return None


def strings(block: bytes) -> tuple[dict[str, str], bool]:
    """The strings of a version block, of all its languages, the first of equal names; whether it is whole.

    What a damaged block still tells is returned.
    """
    found: dict[str, str] = {}
    whole = [bool(block)]
    for _root, _fixed, parts in _blocks(block[: _length(block, 0)], whole):
        for part, _value, tables in _blocks(parts, whole):
            if part != "StringFileInfo":
                continue
            for _language, _empty, texts in _blocks(tables, whole):
                for key, value, _none in _blocks(texts, whole):
                    if len(found) < _MAX_STRINGS:
                        found.setdefault(key, utf16.until_nul(value))
    return found, whole[0]


def _length(data: bytes, at: int) -> int:
    """The length that the block at `at` claims; all that is left where there is no room for the number."""
    return int(_BLOCK.unpack_from(data, at)[0]) if at + _BLOCK.size <= len(data) else len(data) - at


def _blocks(data: bytes, whole: list[bool]) -> Iterator[tuple[str, bytes, bytes]]:
    """Version blocks that lie one after the other: key, value, children. Clears `whole[0]` at damage."""
    at = 0
    # A last block's padding is no block.
    while at < len(data) and not (len(data) - at < _BLOCK.size and not any(data[at:])):
        length = _length(data, at)
        block = data[at : at + length]
        end = utf16.nul_at(block, _BLOCK.size)
        whole[0] = whole[0] and end >= 0 and len(block) == length
        if end < 0:
            return
        _, value_length, kind = _BLOCK.unpack_from(block)
        value_at = _aligned(end + 2)
        # A text's length is in characters, other values' in bytes.
        value_end = value_at + value_length * (2 if kind == 1 else 1)
        key = utf16.until_nul(block[_BLOCK.size : end])
        yield key, block[value_at:value_end], block[_aligned(value_end) :]
        at += _aligned(length)


def _aligned(offset: int) -> int:
    return offset + 3 & ~3
