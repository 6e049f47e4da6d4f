"""The attribute certificate table of EFI programs: PE/COFF 8.3 §5.7, UEFI 2.10 §32.2.4 (WIN_CERTIFICATE).

Entries one after the other, each at a multiple of 8 bytes from the first: u32 length with this head, u16
revision, u16 type (2 is PKCS#7 signed data, 0x0EF1 a GUID and its data), then its data.
"""

import struct
import uuid
from dataclasses import dataclass

from . import TooLarge
from .problems import bounded
from .reader import Source

_HEAD = struct.Struct("<IHH")
_ALIGNMENT = 8
_GUID_SIZE = 16
PKCS7, EFI_GUID = 0x0002, 0x0EF1
CERT_PKCS7 = uuid.UUID("4aafd29d-68df-49ee-8aa9-347d375665a7")
MAX_TABLE = 1 << 20
# What an entry has at least, by its type: its head, and something behind it.
_LEAST = {PKCS7: _HEAD.size + 1, EFI_GUID: _HEAD.size + _GUID_SIZE + 1}
MAX_ENTRIES = 16


@dataclass(frozen=True, slots=True)
class AttributeCertificate:
    """One entry: its offset in the file, revision, type (PKCS7 or EFI_GUID mostly), and data."""

    offset: int
    revision: int
    type: int
    data: bytes

    @property
    def guid(self) -> uuid.UUID | None:
        """Of what kind an entry of the type EFI_GUID is; None for others, and those too short."""
        is_one = self.type == EFI_GUID and len(self.data) >= _GUID_SIZE
        return uuid.UUID(bytes_le=self.data[:_GUID_SIZE]) if is_one else None

    @property
    def pkcs7(self) -> bytes | None:
        """Its PKCS#7 signed data; None where it holds something else."""
        if self.type == PKCS7:
            return self.data
        return self.data[_GUID_SIZE:] if self.guid == CERT_PKCS7 else None


class Signatures(list[AttributeCertificate]):
    """The entries, and what is wrong with the table: firmware refuses a program where anything is."""

    def __init__(self) -> None:
        super().__init__()
        self.problems: list[str] = []


def read(source: Source, place: tuple[int, int]) -> Signatures:
    """The table at that offset and of that size. TooLarge beyond all need; OSError passes through."""
    at, size = place
    found = Signatures()
    if size > MAX_TABLE:
        raise TooLarge(f"certificate table: {size} bytes, more than the limit of {MAX_TABLE}")
    table = source.read(at, size)
    if len(table) < size:
        found.problems.append(f"certificate table at byte {at}: only {len(table)} of its {size} bytes")
    inside = 0
    while inside < len(table):
        step = _entry(table, at, inside, found)
        if not step:
            break
        inside += step
    if inside > len(table):
        found.problems.append(f"certificate table at byte {at}: its size is not that of its entries")
    found.problems = bounded(found.problems)
    return found


def _entry(table: bytes, at: int, inside: int, found: Signatures) -> int:
    """Add the entry there; how many bytes it takes, 0 where it can't be one."""
    left = len(table) - inside
    length, revision, kind = _HEAD.unpack_from(table, inside) if left >= _HEAD.size else (0, 0, 0)
    if left <= _HEAD.size or not _LEAST.get(kind, _HEAD.size) <= length <= left:
        found.problems.append(f"certificate table at byte {at + inside}: {left} bytes hold no entry")
        return 0
    if len(found) == MAX_ENTRIES:
        raise TooLarge(f"certificate table: more than {MAX_ENTRIES} entries")
    data = table[inside + _HEAD.size : inside + length]
    found.append(AttributeCertificate(at + inside, revision, kind, data))
    return int(length) + -int(length) % _ALIGNMENT
