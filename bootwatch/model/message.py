"""What the reader hands to the sender: one file a message in the spool."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from bootwatch.model.alert import Kind
from bootwatch.model.care import UNKNOWN, Care
from bootwatch.model.change import Change, Drift, Finding
from bootwatch.model.level import Level, worst

FORMAT = "bootwatch/message/1"


@dataclass(frozen=True)
class Message:
    """One telling of an alert, with every open change and its level: the sender alone decides who gets it.

    ``news`` holds the ids of the changes and findings that nobody was told of yet. Times are UTC in RFC 3339,
    ``moment`` says why the snapshot was taken. ``alert`` is the episode's ``uid``, ``called`` its name for
    people and ``opened`` its beginning; "" for a sign of life. ``stage`` counts its tellings.
    ``is_over`` is the worst level that an all-clear is about, ``still_open`` the worst that holds now;
    ``how`` says how an alert ended. ``routes`` is what starts and what starts next, as it is shown; ``state``
    what machines read of it. ``files_untouched``: whether every partition is where it was; None: not known.
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
    kind: Kind = Kind.NEWS
    alert: str = ""
    called: str = ""
    opened: str = ""
    stage: int = 1
    is_over: Level | None = None
    still_open: Level | None = None
    how: str = ""
    routes: dict[str, Any] = field(default_factory=dict)
    state: dict[str, Any] = field(default_factory=dict)
    care: Care = UNKNOWN
    files_untouched: bool | None = None
    spoken: str = ""

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
    def level(self) -> Level:
        """What an address's ``least`` is held against: how bad is what is told; of an all-clear, what is
        over was."""
        found = {
            Kind.NEWS: self.worst_news,
            Kind.REMINDER: self.still_open,
            Kind.ALL_CLEAR: self.is_over,
            Kind.SIGN_OF_LIFE: None,
        }
        return found[self.kind] or Level.ROUTINE

    @property
    def worst_news(self) -> Level | None:
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
            "kind": self.kind.value,
            "alert": self.alert,
            "called": self.called,
            "opened": self.opened,
            "stage": self.stage,
            "is_over": self.is_over and self.is_over.value,
            "still_open": self.still_open and self.still_open.value,
            "how": self.how,
            "routes": self.routes,
            "state": self.state,
            "care": self.care.to_json(),
            "files_untouched": self.files_untouched,
            "spoken": self.spoken,
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
            **_of_alert(document),
        )


def _of_alert(document: dict[str, Any]) -> dict[str, Any]:
    """What messages of versions that knew no alerts don't hold."""
    is_over, still_open = document.get("is_over"), document.get("still_open")
    return {
        "kind": Kind(document.get("kind", Kind.NEWS)),
        "alert": document.get("alert", ""),
        "called": document.get("called", ""),
        "opened": document.get("opened", ""),
        "stage": document.get("stage", 1),
        "is_over": Level(is_over) if is_over else None,
        "still_open": Level(still_open) if still_open else None,
        "how": document.get("how", ""),
        "routes": dict(document.get("routes", {})),
        "state": dict(document.get("state", {})),
        "care": Care.from_json(document.get("care", {})),
        "files_untouched": document.get("files_untouched"),
        "spoken": document.get("spoken", ""),
    }
