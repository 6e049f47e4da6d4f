"""Canonical JSON: the one spelling of a value that its SHA-256 is taken of."""

from __future__ import annotations

import hashlib
import json
from typing import Any


def canonical(value: Any) -> str:
    """Keys sorted, no blanks, ASCII only (an unpaired surrogate in a file name stays what it is)."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"))


def digest(value: Any) -> str:
    """The SHA-256 of the canonical JSON, in hex."""
    return hashlib.sha256(canonical(value).encode()).hexdigest()
