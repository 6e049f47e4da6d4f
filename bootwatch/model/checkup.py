"""What a look at bootwatch itself found."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any


class State(StrEnum):
    """How something stands; what the caller may not see is unknown and not wrong."""

    FINE = "fine"
    WRONG = "wrong"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class Check:
    """One thing that was looked at. ``said`` is a sentence, ``mend`` what to do about it, "" for nothing."""

    name: str
    state: State
    said: str
    mend: str = ""

    def to_json(self) -> dict[str, Any]:
        return {"name": self.name, "state": self.state.value, "said": self.said, "mend": self.mend}
