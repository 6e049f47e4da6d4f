"""Small but whole EFI programs: what stands for the systems' loaders.

PE/COFF, PE32+ for x64; UEFI 2.10 §2.1.1 (subsystem 10 is an EFI application).
"""

from __future__ import annotations

import struct

_DOS_HEADER = struct.Struct("<2s58sI")
_COFF_HEADER = struct.Struct("<4sHHIIIHH")
_OPTIONAL_HEADER = struct.Struct("<HBBIIIII QIIHHHHHHIIIIHHQQQQII")
_SECTION = struct.Struct("<8sIIIIIIHHI")

_X64 = 0x8664
_EFI_APPLICATION = 10
_FILE_ALIGNMENT = 0x200
_PAGE = 0x1000
_DIRECTORIES = 16
_CODE = bytes.fromhex("31c0c3")  # xor eax, eax; ret: EFI_SUCCESS


def program(text: str, size: int = 0) -> bytes:
    """An EFI application for x64 that returns success; ``text`` makes it unlike any other.

    ``size`` (bytes) is filled up with zeros where the program itself is shorter.
    """
    content = _CODE.ljust(16, b"\xcc") + text.encode() + b"\0"
    content = content.ljust(max(len(content), size - _FILE_ALIGNMENT), b"\0")
    raw_size = -(-len(content) // _FILE_ALIGNMENT) * _FILE_ALIGNMENT
    headers = _headers(len(content), raw_size)
    return headers.ljust(_FILE_ALIGNMENT, b"\0") + content.ljust(raw_size, b"\0")


def _headers(virtual_size: int, raw_size: int) -> bytes:
    image_size = _PAGE + -(-virtual_size // _PAGE) * _PAGE
    optional = _OPTIONAL_HEADER.pack(
        *(0x20B, 1, 0, raw_size, 0, 0, _PAGE, _PAGE),  # PE32+; linker version, sizes, entry point, code
        *(0x140000000, _PAGE, _FILE_ALIGNMENT, 0, 0, 0, 0, 0, 0, 0),  # base, alignments, versions
        *(image_size, _FILE_ALIGNMENT, 0, _EFI_APPLICATION, 0),  # sizes, checksum, subsystem
        *(0, 0, 0, 0, 0, _DIRECTORIES),  # stack, heap, flags, directories
    )
    optional += bytes(8 * _DIRECTORIES)
    return (
        _DOS_HEADER.pack(b"MZ", b"", _DOS_HEADER.size)
        # 0x22: executable, may lie above 2 GiB.
        + _COFF_HEADER.pack(b"PE\0\0", _X64, 1, 0, 0, 0, len(optional), 0x22)
        + optional
        # 0x60000020: code, may be read and run.
        + _SECTION.pack(b".text", virtual_size, _PAGE, raw_size, _FILE_ALIGNMENT, 0, 0, 0, 0, 0x60000020)
    )
