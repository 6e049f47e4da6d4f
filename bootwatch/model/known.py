"""Reading saved documents that a later version may have added to."""

from __future__ import annotations

from dataclasses import fields
from typing import Any


def known_fields(kind: type, document: dict[str, Any]) -> dict[str, Any]:
    """What of a document the dataclass ``kind`` has a field for; the rest is from a later version."""
    names = {field.name for field in fields(kind)}
    return {name: value for name, value in document.items() if name in names}
