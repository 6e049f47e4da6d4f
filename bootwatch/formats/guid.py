"""GUIDs as UEFI stores them (UEFI 2.10 appendix A): 16 bytes, the first three fields little-endian."""

import uuid

SIZE = 16


def from_bytes(data: bytes) -> str:
    """Spell 16 stored bytes in lower case, as Linux spells a PARTUUID. ValueError for another length.

    >>> from_bytes(bytes.fromhex("28732ac11ff8d211ba4b00a0c93ec93b"))
    'c12a7328-f81f-11d2-ba4b-00a0c93ec93b'
    """
    if len(data) != SIZE:
        raise ValueError(f"a GUID has {SIZE} bytes, not {len(data)}")
    first, second, third = data[3::-1].hex(), data[5:3:-1].hex(), data[7:5:-1].hex()
    return f"{first}-{second}-{third}-{data[8:10].hex()}-{data[10:].hex()}"


def to_bytes(text: str) -> bytes:
    """The 16 stored bytes of a GUID in text, whatever its case. ValueError if it isn't one.

    >>> to_bytes("C12A7328-F81F-11D2-BA4B-00A0C93EC93B").hex()
    '28732ac11ff8d211ba4b00a0c93ec93b'
    """
    return uuid.UUID(text).bytes_le
