"""What the reader hands to the sender: one file a message in the spool."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from bootwatch.model.change import Change, Drift, Finding
from bootwatch.model.level import Level, worst

FORMAT = "bootwatch/message/1"


@dataclass(frozen=True)
class Message:
    """One alert, with every open change and its level: the sender alone decides who gets it.

    ``news`` holds the ids of the changes and findings that nobody was told of yet. ``time`` and
    ``baseline_saved`` are UTC in RFC 3339, ``moment`` says why the snapshot was taken.
    """

    id: str
    machine: str
    snapshot: int
    moment: str
    time: str
    baseline_saved: str
    baseline_reason: str
    drift: Drift
    news: tuple[str, ...]

    @property
    def new_changes(self) -> tuple[Change, ...]:
        return tuple(change for change in self.drift.changes if change.id in self.news)

    @property
    def known_changes(self) -> tuple[Change, ...]:
        """Changes of earlier messages that are still there."""
        return tuple(change for change in self.drift.changes if change.id not in self.news)

    @property
    def new_findings(self) -> tuple[Finding, ...]:
        return tuple(finding for finding in self.drift.findings if finding.id in self.news)

    @property
    def worst_news(self) -> Level | None:
        """The level that an address's ``least`` is held against."""
        news: tuple[Change | Finding, ...] = (*self.new_changes, *self.new_findings)
        return worst(item.level for item in news)

    def to_json(self) -> dict[str, Any]:
        return {
            "format": FORMAT,
            "id": self.id,
            "machine": self.machine,
            "snapshot": self.snapshot,
            "moment": self.moment,
            "time": self.time,
            "baseline": {"saved": self.baseline_saved, "reason": self.baseline_reason},
            "drift": self.drift.to_json(),
            "news": list(self.news),
        }

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> Message:
        return cls(
            id=document["id"],
            machine=document["machine"],
            snapshot=document["snapshot"],
            moment=document["moment"],
            time=document["time"],
            baseline_saved=document["baseline"]["saved"],
            baseline_reason=document["baseline"]["reason"],
            drift=Drift.from_json(document["drift"]),
            news=tuple(document["news"]),
        )
