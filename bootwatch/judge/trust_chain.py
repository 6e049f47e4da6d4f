"""Whether a signature leads to a trusted certificate, as the reference firmware asks its library.

The trusted certificate may be any one of the chain, the signer's own too. Nobody looks at dates: what was
signed with a certificate that has expired goes on running. True, False, or None where it can't be told.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from functools import cache, lru_cache
from typing import Any

from bootwatch.formats import FormatError
from bootwatch.formats.signed_data import SignedData, Signer
from bootwatch.formats.x509 import Certificate

_LARGEST_KEY = 8192  # bits
_RSA = "1.2.840.113549.1.1.1"
_RSA_WITH = {
    "1.2.840.113549.1.1.5": "sha1",
    "1.2.840.113549.1.1.11": "sha256",
    "1.2.840.113549.1.1.12": "sha384",
    "1.2.840.113549.1.1.13": "sha512",
}


def signed_by(data: SignedData, trusted: Certificate, digest: bytes) -> bool | None:
    """Whether all signers of a program with that digest lead to ``trusted``, and signed just this program."""
    if not data.signers or not data.content.endswith(digest):
        return False
    return _all(_signer_leads(data, signer, trusted) for signer in data.signers)


def _signer_leads(data: SignedData, signer: Signer, trusted: Certificate) -> bool | None:
    own = data.certificate_of(signer)
    if own is None:
        return False
    leads = _leads(own, data.certificates, trusted)
    return leads and _all((_signed(data.content, signer, own), leads))


def _all(answers: Any) -> bool | None:
    """False if any is, else None if any is."""
    found = list(answers)
    if False in found:
        return False
    return None if None in found else True


def _signed(content: bytes, signer: Signer, own: Certificate) -> bool | None:
    if not signer.digest:
        return None
    if signer.signed is None:
        signed = content
    elif signer.message != hashlib.new(signer.digest, content).digest():
        return False
    else:
        signed = signer.signed
    if signer.algorithm != _RSA and _RSA_WITH.get(signer.algorithm) != signer.digest:
        return None
    return verifies(own.key, signer.digest, signer.signature, signed)


def _leads(own: Certificate, held: Sequence[Certificate], trusted: Certificate) -> bool | None:
    """From the trusted certificate down: whoever it vouches for, and whom those vouch for."""
    reached: dict[bytes, bool | None] = {trusted.raw: True}
    front = [trusted]
    while front and reached.get(own.raw) is not True:
        issuer = front.pop()
        for one in held:
            if reached.get(one.raw) is True:
                continue
            found = _issued(issuer, one)
            surely = found and reached[issuer.raw]
            if found is not False and (surely or one.raw not in reached):
                reached[one.raw] = surely
                front.append(one)
    return reached.get(own.raw, False)


def _issued(issuer: Certificate, one: Certificate) -> bool | None:
    if issuer.subject != one.issuer:
        return False
    try:
        ids = issuer.key_id, one.issuer_key_id
        if (all(ids) and ids[0] != ids[1]) or issuer.is_authority is False:
            return False
        is_plain = issuer.is_authority and not issuer.is_unusual and not one.is_unusual
    except FormatError:
        return None
    digest = _RSA_WITH.get(one.algorithm)
    found = verifies(issuer.key, digest, one.signature, one.signed) if digest else None
    return found if found is False or is_plain else None


@cache
def can_verify() -> bool:
    """Whether the library for it is there. A kit's program runs without any."""
    try:
        import cryptography.hazmat.primitives.asymmetric.rsa  # noqa: F401
    except ImportError:
        return False
    return True


def verifies(key: bytes, digest: str, signature: bytes, data: bytes) -> bool | None:
    """Whether the owner of an RSA key signed the data (PKCS#1 v1.5); None for other keys, since not every
    firmware knows them, for those that the library doesn't take, and without the library."""
    return _verified(key, digest, signature, data) if can_verify() else None


@lru_cache(maxsize=4096)
def _verified(key: bytes, digest: str, signature: bytes, data: bytes) -> bool | None:
    """Once for each: every trusted certificate asks anew about what came with a signature."""
    from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric.padding import PKCS1v15
    from cryptography.hazmat.primitives.asymmetric.rsa import RSAPublicKey

    try:
        public = serialization.load_der_public_key(key)
        if not isinstance(public, RSAPublicKey) or public.key_size > _LARGEST_KEY:
            return None
        public.verify(signature, data, PKCS1v15(), getattr(hashes, digest.upper())())
    except InvalidSignature:
        return False
    except (ValueError, UnsupportedAlgorithm):
        return None
    return True
