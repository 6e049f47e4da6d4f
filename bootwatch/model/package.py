"""What this system's package manager did, and how far its log was read."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from bootwatch.model.known import known_fields


class Action(StrEnum):
    """The word is the same in JSON."""

    INSTALLED = "installed"
    UPDATED = "updated"
    REMOVED = "removed"


@dataclass(frozen=True)
class PackageChange:
    """One package in one transaction; ``before`` and ``after`` are versions, "" for none or not said."""

    action: Action
    package: str
    before: str = ""
    after: str = ""

    def to_json(self) -> dict[str, str]:
        return {**vars(self), "action": self.action.value}

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> PackageChange:
        return cls(**{**known_fields(cls, document), "action": Action(document["action"])})


@dataclass(frozen=True)
class LogMark:
    """How far a package manager's log was read: ``log`` is its path below the machine's root, ``size`` the
    bytes read so far, ``digest`` the SHA-256 of the last of them, by which a log that was begun anew is told.
    """

    log: str
    size: int
    digest: str

    def to_json(self) -> dict[str, Any]:
        return dict(vars(self))

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> LogMark:
        return cls(**known_fields(cls, document))
