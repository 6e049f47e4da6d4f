"""Which of four answers an owner gets, and why.

Whoever is wrongly told to switch off may be without the machine until somebody comes, so all that isn't known
leads to "leave it on and call".
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import Any

from bootwatch.model.alert import Kind
from bootwatch.model.change import Change, Finding
from bootwatch.model.level import Level, worst
from bootwatch.model.message import Message
from bootwatch.model.path import fold
from bootwatch.tell.plain import plain

Document = dict[str, Any]

_LONGEST_LABEL = 40
# What the firmware may refuse to run while Secure Boot is on: whether it would is not looked at.
_CHECKED = ("secure-boot-switched", "keys-changed", "loader-changed", "loader-added")
_PUT_THERE = ("loader-added", "loader-changed", "volume-added")


class Answer(StrEnum):
    """What an owner is to do."""

    NOTHING = "nothing to do"
    CALL = "leave it on and call"
    GET_BACK = "choose to get back"
    STICK = "plug in the stick and call"


class Why(StrEnum):
    """What an answer follows from."""

    AS_BEFORE = "all start as before"
    LESS = "all start, but something is missing"
    NOT_OPEN = "nothing is open"
    LOST = "some would not start"
    NONE_STARTS = "nothing would start by itself"
    NONE_MAY_START = "it may be that nothing starts by itself"
    INSTEAD = "another one than usual would start"
    DOUBTFUL = "whether some start is not known"
    UNKNOWN = "what would start is not known"
    ONLY_CHOSEN = "some would only start if chosen"


@dataclass(frozen=True)
class Verdict:
    """``systems`` are those that ``why`` is about, by the names that bootwatch has for them.

    ``following`` is what starts next where that is another one than usual, and ``usual`` that one; ``label``
    the line to choose in the firmware's menu to get back; ``plugged_in`` a system on a stick that is there.
    "" for none. ``all_start``: with nothing to do, whether every built-in system starts.
    """

    answer: Answer
    why: Why
    systems: tuple[str, ...] = ()
    following: str = ""
    usual: str = ""
    label: str = ""
    plugged_in: str = ""
    all_start: bool = False


def verdict(message: Message) -> Verdict:
    """What is true for the owner. Raises LookupError, TypeError or AttributeError where what starts isn't
    written in the way of this version."""
    return _Judge(message).verdict()


@dataclass(frozen=True)
class _Judge:
    message: Message

    def verdict(self) -> Verdict:
        if self.open in (None, Level.ROUTINE):
            return self._of_nothing_open()
        if not self.fixed or self._is_cut:
            return self._call(Why.UNKNOWN)
        if self._none_starts:
            return self._call(self._none_starts)
        if self._lost:
            return self._call(Why.LOST, self._lost)
        if self._doubtful or self.open is Level.STRANDED:
            return self._call(Why.DOUBTFUL, self._doubtful)
        if self.following is None:
            return self._call(Why.UNKNOWN)
        return self._as_usual() if self._is_expected else self._instead()

    # what is known

    @property
    def open(self) -> Level | None:
        """The worst that holds now."""
        news = self.message.worst_news if self.message.kind is Kind.NEWS else None
        return worst(filter(None, (self.message.still_open, news)))

    @property
    def next_start(self) -> Document:
        found: Document = self.message.routes.get("next_start") or {}
        return found

    @cached_property
    def systems(self) -> list[Document]:
        return list(self.message.routes.get("systems") or ())

    @property
    def fixed(self) -> list[Document]:
        return [one for one in self.systems if not one["removable"]]

    @property
    def _is_cut(self) -> bool:
        more = self.message.routes.get("more") or {}
        return bool(more.get("systems") or more.get("routes"))

    @property
    def following(self) -> str | None:
        """The system that starts next, None where that isn't known or none is known by a name."""
        found, candidates = self.next_start, self.next_start.get("candidates") or ()
        if not found.get("certain") and {one["system"] for one in candidates} != {found.get("system")}:
            return None
        return found.get("system") if found.get("outcome") != "passed" else None

    @property
    def _is_expected(self) -> bool:
        expected = (self.message.state.get("next_start") or {}).get("expected")
        running = (self.message.routes.get("running") or {}).get("system")
        return bool(expected) or (expected is None and self.following == running)

    @property
    def _none_starts(self) -> Why | None:
        """Set where no system that is built in would start by itself, or none may."""
        if self.next_start.get("by") == "nothing":
            return Why.NONE_STARTS if self.next_start["certain"] else Why.NONE_MAY_START
        alone = [one for one in self.fixed if one["how"] in ("by itself", "not known")]
        removable = self._names([one for one in self.systems if one["removable"]])
        return Why.NONE_STARTS if not alone and self.following in removable else None

    def _names(self, systems: list[Document]) -> tuple[str, ...]:
        return tuple(str(one["name"]) for one in systems)

    @property
    def _lost(self) -> tuple[str, ...]:
        """Those that don't start, but for those that didn't when a person called the machine good."""
        is_known = self.open not in (Level.STRANDED, Level.DIVERTED)
        seen = {one.system for one in self.message.drift.findings if one.level is Level.STRANDED}
        lost = [one for one in self.fixed if one["starts"] is False]
        return self._names([one for one in lost if not (is_known and one["name"] in seen)])

    def _loud(self, least: Level) -> Iterator[Change | Finding]:
        items: tuple[Change | Finding, ...] = (*self.message.drift.changes, *self.message.drift.findings)
        return (one for one in items if one.level.at_least(least))

    # doubts

    @property
    def _doubtful(self) -> tuple[str, ...]:
        """Systems of which it isn't known whether they start, or said that they don't, with a way left."""
        items = self._loud(Level.STRANDED) if self.open is Level.STRANDED else ()
        said = {one.system for one in items}
        found = [
            one
            for one in self.fixed
            if one["starts"] is None or one["name"] in said or self._may_miss_a_file(one)
        ]
        unsure = any(self._may_be_refused(one) for one in self.message.drift.changes)
        return self._names(self.fixed if unsure else found)

    def _may_miss_a_file(self, system: Document) -> bool:
        """Whether something of it is gone or damaged that its loader may need: that can't be told of a loader
        that isn't followed to a kernel."""
        working = [one for one in system["routes"] if one["starts"] and one["unattended"]]
        if any(one["followed_to"] == "kernel" for one in working):
            return False
        return any(
            _name(one).startswith(("file-", "loader-changed")) and one.system in (None, system["name"])
            for one in self._loud(Level.WEAKENED)
        )

    def _may_be_refused(self, change: Change) -> bool:
        is_on = bool(self.message.routes.get("cautions"))
        return is_on and change.level is not Level.ROUTINE and change.change in _CHECKED

    # answers

    def _of_nothing_open(self) -> Verdict:
        if self.fixed and self._none_starts:
            return self._call(self._none_starts)
        starting = self._names([one for one in self.fixed if one["starts"]])
        is_sound = bool(starting) and len(starting) == len(self.fixed) and self._is_expected
        is_sound = is_sound and self.following in starting and not self._is_cut
        why = Why.AS_BEFORE if is_sound else Why.NOT_OPEN
        return Verdict(Answer.NOTHING, why, starting, all_start=is_sound)

    def _as_usual(self) -> Verdict:
        # The one after the next may be another: what was asked for once comes first.
        if self.open is Level.DIVERTED or self.following not in self._names(self.fixed):
            return self._call(Why.UNKNOWN)
        about = {one.system for one in self._loud(Level.WEAKENED)}
        chosen = [one for one in self.fixed if one["how"] == "on request" and one["name"] in about]
        if chosen:
            return self._call(Why.ONLY_CHOSEN, self._names(chosen))
        starting = self._names([one for one in self.fixed if one["starts"]])
        return Verdict(Answer.NOTHING, Why.LESS, starting, all_start=len(starting) == len(self.fixed))

    def _instead(self) -> Verdict:
        usual, following = self._usual, self.following or ""
        if not usual or self.open is not Level.DIVERTED:
            return self._call(Why.UNKNOWN)
        label = self._label(usual)
        is_safe = following in self._names(self.fixed) and not self._is_new
        if label and is_safe and self.message.care.menu_key:
            return Verdict(Answer.GET_BACK, Why.INSTEAD, following=following, usual=usual, label=label)
        return self._call(Why.INSTEAD, following=following, usual=usual)

    def _call(
        self, why: Why, systems: tuple[str, ...] = (), *, following: str = "", usual: str = ""
    ) -> Verdict:
        starting = [one for one in self.systems if one["removable"] and one["starts"]]
        plugged_in = next(iter(self._names(starting)), "")
        has_stick = bool(self.message.care.stick or plugged_in)
        is_helped = has_stick and why in (Why.NONE_STARTS, Why.NONE_MAY_START)
        answer = Answer.STICK if is_helped else Answer.CALL
        return Verdict(answer, why, systems, following, usual, plugged_in=plugged_in)

    # the way back

    @property
    def _usual(self) -> str:
        """The system that would start if it were as before; "" where that isn't plain."""
        found = {
            one.system
            for one in self.message.drift.changes
            if one.level is Level.DIVERTED and one.system and one.system != self.following
        }
        return found.pop() if len(found) == 1 else ""

    @property
    def _is_new(self) -> bool:
        """Whether what starts next was put there, or replaced, and no rule expects that."""
        volume, file = self.next_start.get("volume"), fold(str(self.next_start.get("file") or ""))
        loud = (one for one in self.message.drift.changes if one.level is not Level.ROUTINE)
        return any(
            one.change == "volume-added" or fold(str(one.scope.get("path") or "")) == file
            for one in loud
            if one.change in _PUT_THERE and one.scope.get("volume") == volume
        )

    def _label(self, usual: str) -> str:
        return menu_line(self.message.routes, usual)


def menu_line(routes: Document, system: str) -> str:
    """The line of the firmware's menu that starts ``system``, best one that did so before; "" where there
    is none, or where another one looks the same and doesn't."""
    held = (routes, *(routes.get("systems") or ()))
    # What a start menu leads to carries the label of the entry that leads to the menu.
    found = [one for each in held for one in each.get("routes") or () if not one["through"]]
    for one in sorted(found, key=lambda one: not one.get("proven")):
        label = str(one["label"])
        same = [other for other in found if _is_same_line(str(other["label"]), label)]
        if _is_readable(label) and all(_is_way(other, system) for other in same):
            return label.strip()
    return ""


def _name(item: Change | Finding) -> str:
    return item.change if isinstance(item, Change) else item.finding


def _is_way(route: Document, usual: str) -> bool:
    """Whether choosing an entry starts a system without another question. Some firmware shows only what is
    active and in its order."""
    return bool(
        route["entry"] and route["by"] == "BootOrder" and route["system"] == usual
        and route["starts"] and route["unattended"]
    )  # fmt: skip


def _is_same_line(label: str, other: str) -> bool:
    """Whether two lines of a menu look the same."""
    return label.strip().casefold() == other.strip().casefold()


def _is_readable(label: str) -> bool:
    """Whether a person finds this very text in a menu, and takes it for nothing else."""
    said = label.strip()
    is_whole = plain(said, _LONGEST_LABEL) == said
    return is_whole and any(letter.isalnum() for letter in said) and not set(said) & set("\"'“”„‘’«»<>")
