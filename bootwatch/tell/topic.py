"""What a message is about: the changes and findings that it tells, and those that it only names."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeVar

from bootwatch.model.alert import Kind
from bootwatch.model.change import Change, Finding
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.tell.plain import plain

MOST = 12
"""So many of a sort are gone through one by one."""

GRAVE = (Level.STRANDED, Level.DIVERTED)
_NAME = 60

Item = Change | Finding
One = TypeVar("One", Change, Finding)


@dataclass(frozen=True)
class Topic:
    """``changes`` and ``findings`` are told one by one: news, or in a reminder all that is open. ``earlier``
    and ``also_wrong`` are named only. All of them worst first, without what is routine. ``level`` is the
    worst that the message is about: of an all-clear and a sign of life what is left; None for nothing."""

    level: Level | None
    changes: tuple[Change, ...]
    findings: tuple[Finding, ...]
    earlier: tuple[Change, ...]
    also_wrong: tuple[Finding, ...]

    @classmethod
    def of(cls, message: Message) -> Topic:
        changes, findings = _loud(message.drift.changes), _loud(message.drift.findings)
        if message.kind is Kind.REMINDER:
            return cls(message.still_open, changes, findings, (), ())
        if message.kind is not Kind.NEWS:
            return cls(message.still_open, (), (), changes, findings)
        return cls(
            message.worst_news,
            _loud(message.new_changes),
            _loud(message.new_findings),
            _loud(message.known_changes),
            tuple(one for one in findings if one.id not in message.news),
        )

    @property
    def worst(self) -> list[Item]:
        """Those of the worst level. A finding that keeps no system from starting adds nothing to changes."""
        is_told = bool(self.changes or self.findings)
        pool = (self.changes, self.findings) if is_told else (self.earlier, self.also_wrong)
        changes: list[Item] = [one for one in pool[0] if one.level is self.level]
        findings: list[Item] = [one for one in pool[1] if one.level is self.level]
        return changes + findings if self.level in GRAVE else changes or findings

    @property
    def is_finding_first(self) -> bool:
        """Whether a finding is worse than every change."""
        if not self.findings or not self.changes:
            return bool(self.findings)
        return self.findings[0].level.rank < self.changes[0].level.rank

    @property
    def told(self) -> list[Item]:
        """What is gone through one by one, as it is numbered: from 1 in this order."""
        changes: list[Item] = [*self.changes[:MOST]]
        findings: list[Item] = [*self.findings[:MOST]]
        return findings + changes if self.is_finding_first else changes + findings


def _loud(items: Iterable[One]) -> tuple[One, ...]:
    return tuple(
        sorted((one for one in items if one.level is not Level.ROUTINE), key=lambda one: one.level.rank)
    )


def systems_of(items: Iterable[Item]) -> str:
    """The affected systems by name, joined as in a sentence; "" where none is named."""
    names = [plain(name, _NAME) for name in dict.fromkeys(item.system for item in items) if name]
    if len(names) > 2:
        return f"{names[0]} and {len(names) - 1} more systems"
    return " and ".join(names)


def is_by_itself(items: Iterable[Item]) -> bool:
    """Whether only findings are told, nothing that happened."""
    return all(isinstance(item, Finding) for item in items)
