"""Who was told of an alert."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True)
class Told:
    """One address that got a message: ``address`` is what it is called, ``reader`` in whose words,
    ``time`` when (UTC, RFC 3339)."""

    address: str
    reader: str
    time: str

    def to_json(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> Told:
        """Raises KeyError or TypeError when it is none."""
        words = [document[name] for name in ("address", "reader", "time")]
        if not all(isinstance(word, str) for word in words):
            raise TypeError("a value that is no text")
        return cls(*words)
