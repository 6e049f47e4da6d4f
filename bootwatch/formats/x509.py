"""Certificates, as far as it matters who signed what: X.509, RFC 5280 §4.1.

    Certificate: TBSCertificate, signature algorithm, signature (a bit string)
    TBSCertificate: [0] version, serial number, signature algorithm, issuer, validity, subject,
                    public key, [1] and [2] unique identifiers, [3] extensions

Names, serial number and key stay the bytes that they are, so what real certificates hold against the standard
(serial numbers that are negative, country codes of three letters, no name at all) does no harm.
"""

from __future__ import annotations

from dataclasses import dataclass

from . import FormatError
from .der import BIT_STRING, BOOLEAN, CONSTRUCTED, CONTEXT, INTEGER, OCTETS, SEQUENCE, Element, leading

_BASIC_CONSTRAINTS, _KEY_ID, _AUTHORITY_KEY_ID = "2.5.29.19", "2.5.29.14", "2.5.29.35"
_KEY_USAGE, _KEY_CERT_SIGN = "2.5.29.15", 0x04
_HARMLESS = frozenset((_BASIC_CONSTRAINTS, _KEY_ID, _AUTHORITY_KEY_ID, _KEY_USAGE, "2.5.29.37"))
_COMMON_NAME = "2.5.4.3"


@dataclass(frozen=True, slots=True)
class Certificate:
    """``signed`` is what its issuer signed (TBSCertificate); names, ``serial`` and ``key`` (the public key's
    whole SubjectPublicKeyInfo) as they are spelled. ``extensions`` by their identifier: whether it must be
    understood, and its value."""

    raw: bytes
    signed: bytes
    serial: bytes
    issuer: bytes
    subject: bytes
    key: bytes
    algorithm: str
    signature: bytes
    extensions: dict[str, tuple[bool, bytes]]

    @classmethod
    def parse(cls, data: bytes) -> Certificate:
        """Bytes behind its end are left out, as firmware does. FormatError for what is none."""
        whole = leading(data).expect(SEQUENCE)
        signed, algorithm, signature = _parts(whole, 3)[:3]
        return cls(
            whole.raw, signed.raw, *_fields(signed), *_signature(algorithm, signature), _extras(signed)
        )

    @property
    def name(self) -> str:
        """Its subject's common name, else "without a name"; may carry hostile characters."""
        try:
            for pair in _pairs(self.subject):
                if pair[0].oid == _COMMON_NAME:
                    coding = "utf-16-be" if pair[1].tag == 0x1E else "utf-8"
                    return pair[1].content[:256].decode(coding, "replace")
        except FormatError:
            pass
        return "without a name"

    @property
    def is_authority(self) -> bool | None:
        """Whether it says that it may sign certificates; None where it doesn't say."""
        _, value = self.extensions.get(_BASIC_CONSTRAINTS, (False, b""))
        if not value:
            return None
        parts = leading(value).expect(SEQUENCE).children()
        is_one = bool(parts) and parts[0].tag == BOOLEAN and parts[0].content != b"\0"
        return is_one and self._may_sign

    @property
    def _may_sign(self) -> bool:
        _, value = self.extensions.get(_KEY_USAGE, (False, b""))
        return not value or bool(leading(value).expect(BIT_STRING).content[1:2].ljust(1, b"\0")[0] & 0x04)

    @property
    def key_id(self) -> bytes | None:
        """The identifier that it gives its key; None for none."""
        value = self.extensions.get(_KEY_ID, (False, b""))[1]
        return leading(value).expect(OCTETS).content if value else None

    @property
    def issuer_key_id(self) -> bytes | None:
        """The identifier of the key that signed it; None where that isn't said."""
        value = self.extensions.get(_AUTHORITY_KEY_ID, (False, b""))[1]
        parts = leading(value).expect(SEQUENCE).children() if value else []
        return next((part.content for part in parts if part.tag == CONTEXT), None)

    @property
    def is_unusual(self) -> bool:
        """Whether it asks for something to be understood that isn't looked at here."""
        return any(critical and name not in _HARMLESS for name, (critical, _) in self.extensions.items())


def _parts(element: Element, least: int) -> list[Element]:
    parts = element.children()
    if len(parts) < least:
        raise FormatError(f"certificate: {len(parts)} parts where {least} belong")
    return parts


def _fields(signed: Element) -> tuple[bytes, bytes, bytes, bytes]:
    """Serial number, issuer, subject, key."""
    parts = _parts(signed.expect(SEQUENCE), 6)
    if parts[0].tag == CONTEXT | CONSTRUCTED:
        parts = parts[1:]
    if len(parts) < 6:
        raise FormatError("certificate: cut off")
    serial, _, issuer, _, subject, key = parts[:6]
    for name in (issuer, subject, key):
        name.expect(SEQUENCE)
    return serial.expect(INTEGER).content, issuer.raw, subject.raw, key.raw


def _signature(algorithm: Element, signature: Element) -> tuple[str, bytes]:
    named = _parts(algorithm.expect(SEQUENCE), 1)[0].oid
    return named, signature.expect(BIT_STRING).content[1:]


def _extras(signed: Element) -> dict[str, tuple[bool, bytes]]:
    found: dict[str, tuple[bool, bytes]] = {}
    for part in signed.children():
        if part.tag == CONTEXT | CONSTRUCTED | 3:
            for one in leading(part.content).expect(SEQUENCE).children():
                name, *critical, value = _parts(one.expect(SEQUENCE), 2)
                found[name.oid] = (bool(critical), value.expect(OCTETS).content)
    return found


def _pairs(name: bytes) -> list[list[Element]]:
    return [_parts(pair, 2) for group in leading(name).children() for pair in group.children()]
