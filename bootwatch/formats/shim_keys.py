"""The keys that a shim brings with it, in its section `.vendor_cert`: shim's cert.S.

u32 size of what it takes, u32 size of what it refuses, u32 offsets of both from the section's first byte;
each is one certificate, or signature lists as in the firmware's own databases.
"""

from __future__ import annotations

import struct
import uuid

from . import FormatError, signature_list
from .signature_list import X509, Signature, SignatureList, SignatureLists

_HEAD = struct.Struct("<IIII")
_SEQUENCE = b"\x30"


def parse(section: bytes) -> tuple[SignatureLists, SignatureLists]:
    """What it takes and what it refuses. FormatError for what is none."""
    if len(section) < _HEAD.size:
        raise FormatError(f"a shim's keys: {len(section)} bytes hold none")
    takes, refuses, takes_at, refuses_at = _HEAD.unpack_from(section)
    return _lists(section, takes_at, takes), _lists(section, refuses_at, refuses)


def _lists(section: bytes, at: int, size: int) -> SignatureLists:
    held = section[at : at + size]
    if len(held) < size:
        raise FormatError(f"a shim's keys: {size} bytes at byte {at} are not all there")
    if not held.startswith(_SEQUENCE):
        return signature_list.parse(held)
    found = SignatureLists(held)
    found.append(SignatureList(X509, [Signature(uuid.UUID(int=0), held)]))
    return found
