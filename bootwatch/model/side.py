"""One of two snapshots that are compared with each other."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any


class Source(StrEnum):
    """Where a snapshot was taken from for a comparison; the word is the same in JSON."""

    HISTORY = "history"
    IMPORTED = "imported"
    FILE = "file"


@dataclass(frozen=True)
class Side:
    """``name`` is what the person called it by: a number, an imported one's name, or a file.

    ``machine`` and ``machine_id`` say whose it is, as far as it says so itself; ``number`` is its own in the
    history that recorded it, None where none did; ``time`` is UTC in RFC 3339.
    """

    name: str
    source: Source
    machine: str
    machine_id: str | None
    number: int | None
    time: str

    def is_of_another_machine(self, other: Side) -> bool:
        """Whether both say whose they are, and it isn't the same machine."""
        return None not in (self.machine_id, other.machine_id) and self.machine_id != other.machine_id

    def to_json(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "source": self.source.value,
            "machine": self.machine,
            "snapshot": self.number,
            "time": self.time,
        }
