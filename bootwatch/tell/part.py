"""The part of a mail that machines read: the state, and who vouches for it (``bootwatch/part/1``).

An envelope of ASCII JSON: ``payload`` is the state document (canonical JSON) in base64; where the machine has
a key, ``key`` is its public half and ``signature`` what it signed (Ed25519, RFC 8032), in base64 too. Whoever
can mail can make an envelope with a key of its own: a valid signature proves something only to those who know
which key is whose.
"""

from __future__ import annotations

import base64
import binascii
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

FORMAT = "bootwatch/part/1"
MEDIA_TYPE = "application/json"
NAME = "bootwatch-state.json"
"""What the part is called as an attachment. Its one long line needs a transfer encoding: base64."""

MOST = 64 * 1024
"""Bytes that an envelope may have; a usual one has 2 to 6 thousand."""

_DEEPEST = 20
# So that no signature made for something else passes for one of a part, or the other way round.
_DOMAIN = b"bootwatch/part/1\n"

_Envelope = dict[str, Any]


@dataclass(frozen=True)
class Opened:
    """What an envelope holds. ``key`` is the public key whose signature is valid, None where it is unsigned.

    The state is whatever JSON object was sealed: nothing in it has been checked.
    """

    state: dict[str, Any]
    key: str | None


def new_key() -> bytes:
    """A private key for one machine: PEM (PKCS 8)."""
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    return Ed25519PrivateKey.generate().private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def public_key(key: bytes) -> str | None:
    """The public half of ``key`` (PEM, PKCS 8) as one word of 44 characters; None where it can't be used."""
    private = _private(key)
    return None if private is None else _text(private.public_key())


def seal(state: dict[str, Any], key: bytes | None) -> bytes:
    """An envelope for ``state``, signed where ``key`` (PEM, PKCS 8) is a usable Ed25519 key.

    A key that can't be used doesn't hold up a message: its part goes out unsigned and counts as unproven.
    Raises ValueError for a state that can't be JSON or is too large.
    """
    payload = json.dumps(state, sort_keys=True, separators=(",", ":"), allow_nan=False).encode("ascii")
    envelope = {"format": FORMAT, "payload": _encoded(payload)}
    private = _private(key) if key else None
    if private:
        envelope["key"] = _text(private.public_key())
        envelope["signature"] = _encoded(private.sign(_DOMAIN + payload))
    data = json.dumps(envelope, indent=1).encode("ascii") + b"\n"
    if len(data) > MOST:
        raise ValueError(f"the state has {len(payload)} bytes, too many for a mail")
    return data


def open_part(data: bytes) -> Opened:
    """What ``data`` holds, whoever wrote it.

    Raises ValueError for anything but an envelope, unsigned or with a valid signature.
    """
    if len(data) > MOST:
        raise ValueError(f"it has more than {MOST // 1024} KiB")
    envelope = _object(data, "it")
    if envelope.get("format") != FORMAT:
        raise ValueError(f"it is not of the format {FORMAT}")
    payload = _decoded(envelope, "payload")
    key = _signer(envelope, payload)
    return Opened(_object(payload, "its payload"), key)


def _signer(envelope: _Envelope, payload: bytes) -> str | None:
    """Raises ValueError for a signature that isn't valid, and for a key without one."""
    if "key" not in envelope and "signature" not in envelope:
        return None
    from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    key, signature = _decoded(envelope, "key"), _decoded(envelope, "signature")
    try:
        public = Ed25519PublicKey.from_public_bytes(key)
        public.verify(signature, _DOMAIN + payload)
    except (InvalidSignature, UnsupportedAlgorithm, ValueError):
        raise ValueError("its signature is not valid") from None
    # Encoded anew, since base64 can spell the same bytes in several ways.
    return _text(public)


def _private(key: bytes) -> Ed25519PrivateKey | None:
    try:
        from cryptography.exceptions import UnsupportedAlgorithm
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
        from cryptography.hazmat.primitives.serialization import load_pem_private_key
    except ImportError:
        return None
    try:
        private = load_pem_private_key(key, password=None)
    except (ValueError, TypeError, UnsupportedAlgorithm):
        return None
    return private if isinstance(private, Ed25519PrivateKey) else None


def _text(public: Ed25519PublicKey) -> str:
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    return _encoded(public.public_bytes(Encoding.Raw, PublicFormat.Raw))


def _encoded(data: bytes) -> str:
    return base64.b64encode(data).decode("ascii")


def _decoded(envelope: _Envelope, member: str) -> bytes:
    text = envelope.get(member)
    try:
        if isinstance(text, str):
            return base64.b64decode(text.encode("ascii"), validate=True)
    except (binascii.Error, UnicodeEncodeError):
        pass
    raise ValueError(f"its {member} is not base64")


def _object(data: bytes, what: str) -> dict[str, Any]:
    try:
        document = json.loads(data.decode("ascii"), parse_constant=_refuse)
    except (ValueError, RecursionError):
        raise ValueError(f"{what} is not JSON in ASCII") from None
    if not isinstance(document, dict):
        raise ValueError(f"{what} is not a JSON object")
    _require_shallow(document, what)
    return document


def _refuse(constant: str) -> None:
    raise ValueError(f"{constant} is no JSON")


def _require_shallow(document: dict[str, Any], what: str) -> None:
    layer: list[Any] = [document]
    for _ in range(_DEEPEST):
        layer = [inner for outer in layer for inner in _inner(outer)]
        if not layer:
            return
    raise ValueError(f"{what} is nested more than {_DEEPEST} deep")


def _inner(value: Any) -> list[Any]:
    members = value.values() if isinstance(value, dict) else value
    return [member for member in members if isinstance(member, dict | list)]
