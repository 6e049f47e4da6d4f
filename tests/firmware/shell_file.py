"""The UEFI shell that OVMF carries, as a file: it lies compressed in the firmware (PI 1.7, volume 3)."""

import lzma
import uuid
from pathlib import Path

from tests.firmware.firmware import X64

_COMPRESSED = uuid.UUID("ee4e5898-3914-4259-9d6e-dc7bd79403cf").bytes_le
_SHELL = uuid.UUID("7c04a583-9e3e-4f1c-ad65-e05268d0b4d1").bytes_le
_APPLICATION, _PE32 = 0x09, 0x10
_FILE_HEADER, _SECTION_HEADER = 24, 4


def shell_file() -> bytes:
    """The program of OVMF's shell for x64."""
    held = _unpacked(X64.code)
    at = -1
    while (at := held.find(_SHELL, at + 1)) >= 0:
        if held[at + 18] == _APPLICATION:
            return _program(held[at : at + _size(held, at + 20)])
    raise ValueError(f"{X64.code} holds no shell")


def _unpacked(code: Path) -> bytes:
    """The section begins 4 bytes before its GUID; u16 at 16 says where its data begin."""
    raw = code.read_bytes()
    section = raw.index(_COMPRESSED) - _SECTION_HEADER
    start = section + int.from_bytes(raw[section + 20 : section + 22], "little")
    return lzma.LZMADecompressor(lzma.FORMAT_ALONE).decompress(raw[start:])


def _program(file: bytes) -> bytes:
    at = _FILE_HEADER
    while at < len(file):
        size = _size(file, at)
        if file[at + 3] == _PE32:
            return file[at + _SECTION_HEADER : at + size]
        at += -(-size // 4) * 4
    raise ValueError("the shell's file holds no program")


def _size(data: bytes, at: int) -> int:
    return int.from_bytes(data[at : at + 3], "little")
