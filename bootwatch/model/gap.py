"""What could not be read, and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from bootwatch.model.path import is_within
from bootwatch.model.variable import entry_number


class Reason(StrEnum):
    """Why something is unknown. None of these means that the thing isn't there."""

    ABSENT = "absent"  # a whole source isn't there: efivars, a disk's node
    DENIED = "denied"
    DAMAGED = "damaged"
    UNREADABLE = "unreadable"
    LIMIT = "limit"
    NOT_RECORDED = "not recorded then"


@dataclass(frozen=True)
class Gap:
    """One hole in a snapshot. Nothing inside its scope is ever compared.

    ``kind`` is "variables" (``name`` a variable's file name, or "*" for all), "disk" (``name`` the
    kernel's name), "volume" (``name`` the identity, ``path`` the file or folder, None for the whole
    volume) or "machine" (``name`` the path below the machine root).
    """

    kind: str
    name: str
    reason: Reason
    detail: str
    path: str | None = None

    def to_json(self) -> dict[str, Any]:
        scope: dict[str, Any] = {self.kind: self.name}
        if self.kind == "volume":
            scope["path"] = self.path
        return {"scope": scope, "reason": self.reason.value, "detail": self.detail}

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> Gap:
        scope = dict(document["scope"])
        path = scope.pop("path", None)
        if not scope:
            raise ValueError("a gap without a scope")
        kind, name = next(iter(scope.items()))
        return cls(kind, name, Reason(document["reason"]), document["detail"], path)

    def hides(self, scope: Mapping[str, Any]) -> bool:
        """Whether what a change happened to (``Change.scope``) may lie in this gap.

        An entry may have moved into an unread variable, a volume may lie on an unread disk.
        """
        if "variables" in scope:
            name = str(scope["variables"])
            moved = entry_number(name) is not None and entry_number(self.name) is not None
            return self.kind == "variables" and (moved or self.name in ("*", name))
        if "volume" not in scope:
            return False
        path = scope.get("path")
        volume = str(scope["volume"]).partition("@")[0]
        return self.kind == "disk" or (
            self.kind == "volume"
            and self.name.partition("@")[0] == volume
            and (self.path is None or (path is not None and is_within(str(path), self.path)))
        )

    def covers_file(self, volume: str, path: str) -> bool:
        """Whether the file at ``path`` on ``volume`` lies in this gap."""
        if self.kind != "volume" or self.name != volume:
            return False
        return self.path is None or is_within(path, self.path)

    @property
    def covers_an_entry(self) -> bool:
        """Whether a boot entry's variable lies in this gap."""
        return self.kind == "variables" and (self.name == "*" or entry_number(self.name) is not None)

    def covers_variable(self, name: str) -> bool:
        """Whether the variable with this file name (NAME-GUID) lies in this gap."""
        return self.kind == "variables" and self.name in ("*", name)
