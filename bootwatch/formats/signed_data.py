"""Signatures of EFI programs: PKCS#7 signed data, RFC 2315 §9, as Authenticode uses it.

    ContentInfo: identifier of signed data, [0] SignedData
    SignedData: version, set of digest algorithms, ContentInfo, [0] certificates, [1] revocations,
                set of SignerInfo
    SignerInfo: version, issuer and serial number, digest algorithm, [0] signed attributes,
                signature algorithm, signature, [1] attributes that are not signed

The content is a sequence whose last bytes are the program's digest; what is signed is what it holds.
"""

from __future__ import annotations

from dataclasses import dataclass

from . import FormatError
from .der import CONSTRUCTED, CONTEXT, INTEGER, OCTETS, SEQUENCE, SET, Element, leading
from .x509 import Certificate

_SIGNED_DATA, _MESSAGE_DIGEST = "1.2.840.113549.1.7.2", "1.2.840.113549.1.9.4"
_FIRST, _SECOND = CONTEXT | CONSTRUCTED, CONTEXT | CONSTRUCTED | 1
DIGESTS = {
    "1.3.14.3.2.26": "sha1",
    "2.16.840.1.101.3.4.2.1": "sha256",
    "2.16.840.1.101.3.4.2.2": "sha384",
    "2.16.840.1.101.3.4.2.3": "sha512",
}
_MOST_CERTIFICATES = 16
_MOST_SIGNERS = 8


@dataclass(frozen=True, slots=True)
class Signer:
    """Who signed, by issuer and serial number; ``digest`` is hashlib's name, "" for others. ``signed`` are
    the attributes as they were signed, None without any; ``message`` the content's digest among them."""

    issuer: bytes
    serial: bytes
    digest: str
    algorithm: str
    signature: bytes
    signed: bytes | None
    message: bytes | None


@dataclass(frozen=True, slots=True)
class SignedData:
    """``content`` is what was signed; ``certificates`` come with it in any order."""

    digest: str
    content: bytes
    certificates: tuple[Certificate, ...]
    signers: tuple[Signer, ...]

    @classmethod
    def parse(cls, data: bytes) -> SignedData:
        """Padding behind its end is left out. FormatError for what is none, or more than is sound."""
        kind, *rest = _parts(leading(data).expect(SEQUENCE), 2)
        if kind.oid != _SIGNED_DATA or len(rest) != 1:
            raise FormatError("signature: no signed data")
        whole = leading(rest[0].expect(_FIRST).content).expect(SEQUENCE)
        version, digests, content, *more = _parts(whole, 4)
        version.expect(INTEGER)
        named = [_algorithm(one) for one in digests.expect(SET).children()]
        signers = more[-1].expect(SET).children()
        held = [one for part in more[:-1] if part.tag == _FIRST for one in part.children()]
        if len(held) > _MOST_CERTIFICATES or len(signers) > _MOST_SIGNERS:
            raise FormatError("signature: more certificates or signers than any has")
        return cls(
            DIGESTS.get(named[0], "") if named else "",
            _content(content),
            tuple(Certificate.parse(one.raw) for one in held),
            tuple(map(_signer, signers)),
        )

    def certificate_of(self, signer: Signer) -> Certificate | None:
        """The signer's own certificate; None where it doesn't come with the signature."""
        for one in self.certificates:
            if (one.issuer, one.serial) == (signer.issuer, signer.serial):
                return one
        return None


def _parts(element: Element, least: int) -> list[Element]:
    parts = element.children()
    if len(parts) < least:
        raise FormatError(f"signature: {len(parts)} parts where {least} belong")
    return parts


def _algorithm(element: Element) -> str:
    return _parts(element.expect(SEQUENCE), 1)[0].oid


def _content(info: Element) -> bytes:
    """The inside of what was signed."""
    parts = _parts(info.expect(SEQUENCE), 2)
    return leading(parts[1].expect(_FIRST).content).content


def _signer(element: Element) -> Signer:
    _, who, digest, *rest = _parts(element.expect(SEQUENCE), 5)
    issuer, serial = _parts(who.expect(SEQUENCE), 2)[:2]
    attributes = rest.pop(0) if rest[0].tag == _FIRST else None
    if len(rest) < 2:
        raise FormatError("signature: cut off")
    return Signer(
        issuer.raw,
        serial.expect(INTEGER).content,
        DIGESTS.get(_algorithm(digest), ""),
        _algorithm(rest[0]),
        rest[1].expect(OCTETS).content,
        # Signed as a set of their own (RFC 2315 §9.3), whatever the tag that they are stored under.
        bytes([SET]) + attributes.raw[1:] if attributes else None,
        _message(attributes) if attributes else None,
    )


def _message(attributes: Element) -> bytes | None:
    for one in attributes.children():
        name, values = _parts(one.expect(SEQUENCE), 2)[:2]
        if name.oid == _MESSAGE_DIGEST:
            return leading(values.expect(SET).content).expect(OCTETS).content
    return None
