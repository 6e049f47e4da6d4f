"""What differs from the baseline, what is wrong by itself, and what could not be seen."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any

from bootwatch.model.evidence import Evidence
from bootwatch.model.gap import Gap
from bootwatch.model.level import Level, worst

FORMAT = "bootwatch/drift/1"


class Custody(StrEnum):
    """Who had the machine while a change happened."""

    ELSEWHERE = "another system or the firmware"
    HERE = "this system"
    UNKNOWN = "unknown"


@dataclass(frozen=True)
class Change:
    """One difference from the baseline.

    ``id`` is the change's name and the first hex digits of the digest of what it happened to. ``what``
    is a noun phrase for people and ``where`` holds the identifiers; both may carry hostile characters.
    ``scope`` says what must be readable to see the change, spelled like a gap's. ``before`` and ``after``
    are plain JSON values. ``between`` is the last snapshot without the change and the first with it, each
    by number or None; ``evidence`` is what else is known of the time between them. ``accepted`` says by which
    rule it is expected and told to nobody, in one sentence; "" where none holds.
    """

    id: str
    change: str
    level: Level
    system: str | None
    what: str
    where: str
    before: Any
    after: Any
    consequence: str = ""
    custody: Custody = Custody.UNKNOWN
    between: tuple[int | None, int | None] = (None, None)
    scope: dict[str, Any] = field(default_factory=dict)
    evidence: tuple[Evidence, ...] = ()
    accepted: str = ""

    def to_json(self) -> dict[str, Any]:
        return {
            "id": self.id,
            "level": self.level.value,
            "change": self.change,
            "system": self.system,
            "what": self.what,
            "where": self.where,
            "scope": self.scope,
            "before": self.before,
            "after": self.after,
            "consequence": self.consequence,
            "while": self.custody.value,
            "between": list(self.between),
            "evidence": [one.to_json() for one in self.evidence],
            "accepted": self.accepted,
        }

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> Change:
        last_without, first_with = document["between"]
        return cls(
            id=document["id"],
            change=document["change"],
            level=Level(document["level"]),
            system=document["system"],
            what=document["what"],
            where=document["where"],
            scope=document.get("scope", {}),
            before=document["before"],
            after=document["after"],
            consequence=document["consequence"],
            custody=Custody(document["while"]),
            between=(last_without, first_with),
            evidence=tuple(Evidence.from_json(item) for item in document.get("evidence", ())),
            accepted=document.get("accepted", ""),
        )


@dataclass(frozen=True)
class Finding:
    """Something that is wrong by itself, whether or not it drifted."""

    id: str
    finding: str
    level: Level
    system: str | None
    what: str
    where: str

    def to_json(self) -> dict[str, Any]:
        return {
            "id": self.id,
            "level": self.level.value,
            "finding": self.finding,
            "system": self.system,
            "what": self.what,
            "where": self.where,
        }

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> Finding:
        return cls(
            id=document["id"],
            finding=document["finding"],
            level=Level(document["level"]),
            system=document["system"],
            what=document["what"],
            where=document["where"],
        )


@dataclass(frozen=True)
class Drift:
    """All that one comparison with the baseline found."""

    changes: tuple[Change, ...]
    findings: tuple[Finding, ...]
    gaps: tuple[Gap, ...]

    @property
    def level(self) -> Level | None:
        """The worst level among the changes, or None without a change."""
        return worst(change.level for change in self.changes)

    def with_changes(self, changes: tuple[Change, ...]) -> Drift:
        return replace(self, changes=changes)

    def to_json(self) -> dict[str, Any]:
        level = self.level
        return {
            "format": FORMAT,
            "level": level.value if level else None,
            "changes": [change.to_json() for change in self.changes],
            "findings": [finding.to_json() for finding in self.findings],
            "gaps": [gap.to_json() for gap in self.gaps],
        }

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> Drift:
        return cls(
            changes=tuple(Change.from_json(item) for item in document["changes"]),
            findings=tuple(Finding.from_json(item) for item in document["findings"]),
            gaps=tuple(Gap.from_json(item) for item in document["gaps"]),
        )
