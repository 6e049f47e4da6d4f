"""Load options and device paths in bytes, where one is made up (UEFI 2.10 §3.1.3, §10.3.5)."""

from __future__ import annotations

import struct

from bootwatch.formats import guid, utf16
from bootwatch.formats.device_path_text_media import FILE, HARD_DRIVE, HARD_DRIVE_NODE
from bootwatch.formats.load_option import ACTIVE
from bootwatch.model.disk import Partition
from bootwatch.model.snapshot import State
from bootwatch.model.volume import Volume

_OPTION = struct.Struct("<IH")
_NODE = struct.Struct("<BBH")
_MBR_SIGNATURE = struct.Struct("<I12x")
_LONGEST = 0x4000  # characters; a node holds twice as many bytes and more
_END = b"\x7f\xff\x04\x00"
_GPT, _MBR = (2, 2), (1, 1)  # table and kind of signature


def option_for(state: State, volume: Volume, path: str, description: str) -> bytes | None:
    """An active option for a file, in short form; None on a disk without a table, which has none."""
    disk = state.disks.get(volume.disk)
    parts = disk.partitions if disk else ()
    part = next((one for one in parts if one.number == volume.number), None)
    return made_option(part, path, description) if part else None


def made_option(part: Partition, path: str, description: str) -> bytes | None:
    """The same for a file in a partition."""
    node = hard_drive(part)
    if node is None or len(path) > _LONGEST:
        return None
    nodes = node + file_path(path)
    return _OPTION.pack(ACTIVE, len(nodes)) + _text(description) + nodes


def file_path(path: str) -> bytes:
    """The device path of a file wherever it is (UEFI 2.10 §3.1.2)."""
    return _node(FILE, _text(path)) + _END


def with_path(option: bytes, path: bytes) -> bytes:
    """An acceptable option with another device path list, and all else as it was."""
    attributes, length = _OPTION.unpack_from(option)
    start = utf16.nul_at(option, _OPTION.size) + 2
    return (
        _OPTION.pack(attributes, len(path)) + option[_OPTION.size : start] + path + option[start + length :]
    )


def hard_drive(part: Partition) -> bytes | None:
    """The node that names a partition; None for one without a signature."""
    kind, _, name = part.identifier.partition(":")
    try:
        if kind == "gpt":
            signature, marks = guid.to_bytes(name), _GPT
        elif kind == "mbr":
            signature, marks = _MBR_SIGNATURE.pack(int(name.partition("-")[0], 16)), _MBR
        else:
            return None
    except (ValueError, struct.error):
        return None
    size = part.last_lba - part.first_lba + 1
    return _node(HARD_DRIVE, HARD_DRIVE_NODE.pack(part.number, part.first_lba, size, signature, *marks))


def _node(kind: tuple[int, int], data: bytes) -> bytes:
    return _NODE.pack(*kind, _NODE.size + len(data)) + data


def _text(text: str) -> bytes:
    return text.replace("\0", "").encode("utf-16-le", "surrogatepass") + b"\0\0"
