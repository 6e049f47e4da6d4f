"""Signature databases, the content of PK, KEK, db, dbx and their like: UEFI 2.10 §32.4.1.

Signature lists one after the other: type (a GUID), u32 size of the whole list, u32 size of a header (none of
the standard's types has one), u32 size of each signature; the header; the signatures, each an owner (a GUID)
and its data.

What is stored is not always what the standard says: a certificate that is PEM text, version records among the
hashes, the same signature twice. All of it is kept as it is.
"""

import struct
import uuid
from dataclasses import dataclass, field

from . import FormatError
from .problems import bounded

_HEAD = struct.Struct("<16sIII")
_OWNER_SIZE = 16
# A database lives in one variable: firmware gives it 32 or 64 KiB. What is beyond all need is not looked at.
MAX_LISTS = 4096
MAX_SIGNATURES = 65536


@dataclass(frozen=True, slots=True)
class SignatureType:
    """A type of the standard: its name without EFI_CERT_ and _GUID, and the sizes of data that it allows
    (none where they vary)."""

    name: str
    sizes: tuple[int, ...] = ()


X509 = uuid.UUID("a5c059a1-94e4-4aa7-87b5-ab155c2bf072")
SHA256 = uuid.UUID("c1c41626-504c-4092-aca9-41f936934328")
X509_SHA256 = uuid.UUID("3bd2a492-96c0-4079-b420-fcf98ef103ed")
TYPES = {
    SHA256: SignatureType("SHA256", (32,)),
    uuid.UUID("3c5766e8-269c-4e34-aa14-ed776e85b3b6"): SignatureType("RSA2048", (256,)),
    uuid.UUID("e2b36190-879b-4a3d-ad8d-f2e7bba32784"): SignatureType("RSA2048_SHA256", (256,)),
    uuid.UUID("826ca512-cf10-4ac9-b187-be01496631bd"): SignatureType("SHA1", (20,)),
    uuid.UUID("67f8444f-8743-48f1-a328-1eaab8736080"): SignatureType("RSA2048_SHA1", (256,)),
    X509: SignatureType("X509"),
    uuid.UUID("0b6e5233-a65c-44c9-9407-d9ab83bfc8bd"): SignatureType("SHA224", (28,)),
    uuid.UUID("ff3e5307-9fd0-48c9-85f1-8ad56c701e01"): SignatureType("SHA384", (48,)),
    uuid.UUID("093e0fae-a6c4-4f50-9f1b-d41e2b89c19a"): SignatureType("SHA512", (64,)),
    X509_SHA256: SignatureType("X509_SHA256", (48,)),
    uuid.UUID("7076876e-80c2-4ee6-aad2-28b349a6865b"): SignatureType("X509_SHA384", (64,)),
    uuid.UUID("446dbf63-2502-4cda-bcfa-2465d2b0fe9d"): SignatureType("X509_SHA512", (80,)),
    uuid.UUID("57347f87-7a9b-403a-b93c-dc4afb7a0ebc"): SignatureType("SM3", (32,)),
    # The standard's sentence says 32, the structure that it describes has 48.
    uuid.UUID("60d807e5-10b4-49a9-9331-e40437888d37"): SignatureType("X509_SM3", (48, 32)),
    uuid.UUID("452e8ced-dfff-4b8c-ae01-5118862e682c"): SignatureType("EXTERNAL_MANAGEMENT", (1,)),
}
_DER_SEQUENCE = b"\x30"
_PEM = b"-----BEGIN"
# Layout of the records: 1, a GUID, two u16 of a version, eleven zero bytes.
_RECORD_SIZE, _RECORD_MARK, _RECORD_ZEROS = 32, b"\x01", bytes(11)


@dataclass(frozen=True, slots=True)
class Signature:
    """One signature: who put it there, and what it is."""

    owner: uuid.UUID
    data: bytes

    @property
    def is_version_record(self) -> bool:
        """Whether 32 bytes are the record of a least version rather than a hash, as some are that real
        databases keep under the type of SHA-256 hashes. A hash looks that way once in 2**96."""
        data = self.data
        return len(data) == _RECORD_SIZE and data[:1] == _RECORD_MARK and data.endswith(_RECORD_ZEROS)


@dataclass(frozen=True, slots=True)
class SignatureList:
    """Signatures of one type."""

    type: uuid.UUID
    signatures: list[Signature]
    header: bytes = b""

    @property
    def type_name(self) -> str | None:
        """The standard's name of the type, `X509` or `SHA256` for example; None if it has none."""
        known = TYPES.get(self.type)
        return known.name if known else None


class SignatureLists(list[SignatureList]):
    """The lists of a database, the database's bytes, and what is wrong with them."""

    def __init__(self, raw: bytes) -> None:
        super().__init__()
        self.raw = raw
        self.problems: list[str] = []

    def __bytes__(self) -> bytes:
        return self.raw


def parse(data: bytes) -> SignatureLists:
    """Read a database; an empty one has no lists. What is damaged is named in `problems` of the result, which
    otherwise is a plain list. FormatError when the bytes are too few for a single list.

    >>> lists = parse(SHA256.bytes_le + bytes.fromhex("4c000000 00000000 30000000") + bytes(48))
    >>> lists[0].type_name, len(lists[0].signatures), lists.problems
    ('SHA256', 1, [])
    """
    data = bytes(data)
    if 0 < len(data) < _HEAD.size:
        raise FormatError(f"a signature list has at least {_HEAD.size} bytes, this has {len(data)}")
    return _Reading(data).lists()


@dataclass(slots=True)
class _Reading:
    """The state of one call of `parse`."""

    data: bytes
    owners: dict[bytes, uuid.UUID] = field(default_factory=dict)
    left: int = MAX_SIGNATURES
    problems: list[str] = field(default_factory=list)

    def lists(self) -> SignatureLists:
        found = SignatureLists(self.data)
        at: int | None = 0
        while at is not None and at < len(self.data):
            if len(found) == MAX_LISTS or self.left <= 0:
                self.problems.append(f"too many signatures: those from byte {at} on are not looked at")
                break
            if len(self.data) - at < _HEAD.size:
                self.problems.append(f"{len(self.data) - at} bytes at byte {at} are too few for a list")
                break
            at = self._list(at, found)
        found.problems = bounded(self.problems)
        return found

    def _list(self, at: int, found: SignatureLists) -> int | None:
        """Add the list at that byte; where the next one begins, None where that can't be told."""
        size: int
        kind, size, header_size, each = _HEAD.unpack_from(self.data, at)
        end = min(at + size, len(self.data))
        start = at + _HEAD.size + header_size
        listed = SignatureList(uuid.UUID(bytes_le=kind), [], self.data[at + _HEAD.size : min(start, end)])
        found.append(listed)
        if size < _HEAD.size:
            self.problems.append(f"list at byte {at}: a size of {size} bytes cannot be")
            return None
        if end < at + size:
            self.problems.append(
                f"list at byte {at}: {size} bytes long, but only {len(self.data) - at} are left"
            )
        if start > end:
            self.problems.append(f"list at byte {at}: its header of {header_size} bytes does not fit")
        elif each < _OWNER_SIZE:
            self._unless_empty(at, start, end, each)
        else:
            self._signatures(listed, at, range(start, end, each), end)
        return at + size

    def _unless_empty(self, at: int, start: int, end: int, each: int) -> None:
        if start < end:
            self.problems.append(f"list at byte {at}: signatures of {each} bytes cannot be")

    def _signatures(self, listed: SignatureList, at: int, starts: range, end: int) -> None:
        each = starts.step
        whole = starts if (end - starts.start) % each == 0 else starts[:-1]
        if len(whole) < len(starts):
            over = end - starts[-1]
            self.problems.append(
                f"list at byte {at}: its last {over} bytes are no whole signature of {each} bytes"
            )
        for start in whole[: self.left]:
            owner = self._owner(self.data[start : start + _OWNER_SIZE])
            listed.signatures.append(Signature(owner, self.data[start + _OWNER_SIZE : start + each]))
        if len(whole) > self.left:
            self.problems.append(f"list at byte {at}: only its first {self.left} signatures are looked at")
        self.left -= len(whole)
        self._check(listed, at, each - _OWNER_SIZE)

    def _owner(self, data: bytes) -> uuid.UUID:
        owner = self.owners.get(data)
        if owner is None:
            owner = self.owners[data] = uuid.UUID(bytes_le=data)
        return owner

    def _check(self, listed: SignatureList, at: int, size: int) -> None:
        """Name what contradicts the list's type; an unknown type allows anything."""
        known = TYPES.get(listed.type, SignatureType(""))
        if known.name and listed.header:
            self.problems.append(f"list at byte {at}: a {known.name} list has no header")
        if known.sizes and size not in known.sizes:
            self.problems.append(
                f"list at byte {at}: {known.name} has {known.sizes[0]} bytes of data, these have {size}"
            )
        if listed.type == X509:
            for signature in listed.signatures:
                if not signature.data.startswith(_DER_SEQUENCE):
                    what = "PEM text" if signature.data.startswith(_PEM) else "no certificate"
                    self.problems.append(f"list at byte {at}: {what} where a DER certificate belongs")
