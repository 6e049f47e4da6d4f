"""Lives of a machine as far as telling goes: what opens, grows, hides and returns, and power cuts."""

from __future__ import annotations

import contextlib
import datetime
import sqlite3
from dataclasses import dataclass, field
from pathlib import Path

from bootwatch.keep import alerts, compact, open_changes, schema
from bootwatch.keep.alerts import Due
from bootwatch.keep.history import History
from bootwatch.keep.open_changes import Item
from bootwatch.model.alert import Alert, Kind, Stage
from bootwatch.model.change import Change, Drift, Finding
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.level import Level

BEGIN = datetime.datetime(2026, 11, 25, 7, tzinfo=datetime.UTC)
UNSEEN = Finding("unseen:1", "unseen", Level.CHANGED, None, "a volume", "")


class PowerCut(Exception):
    """The power fails in the middle of a reading."""


def memory() -> History:
    """A history that is as quick as it is forgetful."""
    database = sqlite3.connect(":memory:", isolation_level=None)
    database.execute("PRAGMA foreign_keys=ON")
    schema.prepare(database, Path("memory"))
    return History(database)


def change(name: str, level: Level, content: str = "a", volume: str = "gpt:a") -> Change:
    scope = {"volume": volume, "path": "\\EFI\\x.efi"}
    return Change(
        f"loader-changed:{name}",
        "loader-changed",
        level,
        None,
        name,
        "there",
        None,
        content,
        scope=scope,
        between=(1, 2),
    )


def finding(name: str, level: Level) -> Finding:
    return Finding(f"no-way-left:{name}", "no-way-left", level, None, name, "")


def unread(volume: str) -> Gap:
    return Gap("volume", volume, Reason.UNREADABLE, "")


@dataclass(frozen=True)
class Message:
    """A message in the spool. ``look`` is the look that it was last put there in."""

    alert: Alert
    stage: Stage
    one: Due
    drift: Drift
    look: int


@dataclass
class Life:
    """A history, a spool and a clock."""

    history: History = field(default_factory=memory)
    spool: dict[str, Message] = field(default_factory=dict)
    now: datetime.datetime = BEGIN
    look: int = 0

    @property
    def time(self) -> str:
        return self.now.isoformat()

    @property
    def alert(self) -> Alert | None:
        return alerts.current(self.history)

    def wait(self, **span: float) -> None:
        self.now += datetime.timedelta(**span)

    def read(
        self,
        *items: Item,
        gaps: tuple[Gap, ...] = (),
        cut: str = "",
        known: frozenset[str] = frozenset(),
        only_clear: bool = False,
    ) -> list[Message]:
        """A reading that is told, in the reader's order: what it spooled. ``cut``: after what the power
        fails."""
        self.look += 1
        drift = Drift(
            tuple(item for item in items if isinstance(item, Change)),
            tuple(item for item in items if isinstance(item, Finding)),
            gaps,
        )
        with contextlib.suppress(PowerCut):
            self._told(drift, cut, known, only_clear=only_clear)
        return [one for one in self.spool.values() if one.look == self.look]

    def _told(self, drift: Drift, cut: str, known: frozenset[str], *, only_clear: bool) -> None:
        history = self.history
        with history.transaction():
            number = self._recorded()
            open_changes.keep_open(history, drift, number)
        with history.transaction():
            alerts.settle(history, self.spool.__contains__)
            alerts.take_up(history, drift, known, snapshot=number, time=self.time)
        for one in alerts.due(history, drift, known, self.time, only_clear=only_clear):
            with history.transaction():
                alert, stage = alerts.begin(history, one, drift, snapshot=number, time=self.time, how="so")
            _fail_if(cut == "begin")
            self.spool[stage.message] = Message(alert, stage, one, drift, self.look)
            _fail_if(cut == "spool")
            with history.transaction():
                alerts.confirm(history, alert, stage)
            _fail_if(cut == "confirm")
        with history.transaction():
            alerts.drop_untold(history)

    def _recorded(self) -> int:
        empty = self.history.store({})
        circumstance = {"boot_id": None, "moment": "boot", "time": self.time}
        documents = dict.fromkeys(("state", "gaps", "overview"), empty) | {"baseline": None, "result": None}
        return compact.add(self.history.database, circumstance, documents)

    def lose_history(self) -> None:
        self.history = memory()


def _fail_if(is_cut: bool) -> None:
    if is_cut:
        raise PowerCut


def kinds(messages: list[Message]) -> list[Kind]:
    return [one.stage.kind for one in messages]
