"""Taking an address's secrets out of what servers and libraries say about it."""

from __future__ import annotations

import base64
from collections.abc import Iterable
from urllib.parse import unquote, urlsplit

_HIDDEN = "[...]"
# Shorter pieces are no secrets, and would turn other words into holes.
_SHORTEST = 4


def without(text: str, secrets: Iterable[str]) -> str:
    """``text`` with every one of ``secrets`` taken out, longest first, as it is and in base64."""
    pieces = {piece for secret in secrets for piece in (secret, _base64(secret)) if len(piece) >= _SHORTEST}
    for piece in sorted(pieces, key=len, reverse=True):
        text = text.replace(piece, _HIDDEN)
    return text


def of_login(user: str, password: str) -> list[str]:
    """What must not be shown of a login, the forms in which it goes over the line included."""
    return [password, f"\0{user}\0{password}"] if password else []


def of_url(url: str) -> list[str]:
    """Whatever of a notification URL may be a secret: all of it but the scheme."""
    rest = url.partition("://")[2]
    pieces = [url, rest, *rest.replace("?", "/").replace("&", "/").replace("@", "/").split("/")]
    pieces += [
        part for piece in pieces[2:] for part in (*piece.split(":"), *piece.split("="), *piece.split(","))
    ]
    try:
        parts = urlsplit(url)
        pieces += [parts.username or "", parts.password or "", parts.hostname or ""]
    except ValueError:
        pass
    return [form for piece in pieces if piece for form in (piece, unquote(piece))]


def _base64(text: str) -> str:
    return base64.b64encode(text.encode("utf-8", "surrogatepass")).decode("ascii")
