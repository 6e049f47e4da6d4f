"""Version resources of PE images (PE/COFF 8.3 §6.9 ".rsrc"; VS_VERSIONINFO).

The resource tree has three levels of directories (type, name, language): 16 bytes whose last two u16 count
named and numbered entries, then entries of u32 id and u32 offset (top bit: another directory). A leaf is u32
address, u32 size. A version block is u16 length, u16 value length, u16 kind, a UTF-16 key, the value and
child blocks, each aligned to 4 bytes; VS_VERSION_INFO holds StringFileInfo, that a table a language, that the
strings.
"""

import struct
from collections.abc import Iterator

from . import utf16

MAX_BYTES = 1 << 20
_COUNTS = struct.Struct("<12xHH")
_ENTRY = struct.Struct("<II")
_LEAF = struct.Struct("<II")
_BLOCK = struct.Struct("<HHH")
_TYPE_VERSION = 16
_SUBDIRECTORY = 0x80000000
_MAX_STRINGS = 256
_MAX_ENTRIES = 4096


def strings(resources: bytes, address: int) -> dict[str, str]:
    """The strings of the first version resource; {} when there is none. `address`: where `resources` gets
    loaded.
    """
    leaf = _leaf(resources)
    if leaf is None:
        return {}
    start, size = leaf[0] - address, leaf[1]
    if start < 0:
        return {}
    return _file_strings(resources[start : start + size])


def _leaf(data: bytes) -> tuple[int, int] | None:
    offset = _child(data, 0, _TYPE_VERSION)
    for _level in range(2):
        if offset is None or not offset & _SUBDIRECTORY:
            return None
        offset = _child(data, offset & ~_SUBDIRECTORY, None)
    if offset is None or offset & _SUBDIRECTORY or offset + _LEAF.size > len(data):
        return None
    address, size = _LEAF.unpack_from(data, offset)
    return address, size


def _child(data: bytes, at: int, wanted: int | None) -> int | None:
    """The offset in the entry of id `wanted`, or in the first entry."""
    if at + _COUNTS.size > len(data):
        return None
    named, numbered = _COUNTS.unpack_from(data, at)
    at += _COUNTS.size
    for _index in range(min(named + numbered, _MAX_ENTRIES)):
        if at + _ENTRY.size > len(data):
            return None
        number, offset = _ENTRY.unpack_from(data, at)
        if wanted is None or number == wanted:
            return int(offset)
        at += _ENTRY.size
    return None


def _blocks(data: bytes) -> Iterator[tuple[str, bytes, bytes]]:
    """Version blocks that lie one after the other: key, value, children."""
    at = 0
    while at + _BLOCK.size <= len(data):
        length, value_length, kind = _BLOCK.unpack_from(data, at)
        block = data[at : at + length]
        end = utf16.nul_at(block, _BLOCK.size)
        if length <= _BLOCK.size or end < 0:
            return
        value_at = _aligned(end + 2)
        # A text's length is in characters, other values' in bytes.
        value_end = value_at + value_length * (2 if kind == 1 else 1)
        yield (
            utf16.until_nul(block[_BLOCK.size : end]),
            block[value_at:value_end],
            block[_aligned(value_end) :],
        )
        at += _aligned(length)


def _aligned(offset: int) -> int:
    return offset + 3 & ~3


def _file_strings(data: bytes) -> dict[str, str]:
    found: dict[str, str] = {}
    for _root, _fixed, parts in _blocks(data):
        for part, _value, tables in _blocks(parts):
            if part != "StringFileInfo":
                continue
            for _language, _empty, texts in _blocks(tables):
                for key, value, _none in _blocks(texts):
                    if len(found) < _MAX_STRINGS:
                        found.setdefault(key, utf16.until_nul(value))
    return found
