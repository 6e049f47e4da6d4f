"""What each change means for the next switch-on: its level, and one sentence.

A change is as bad as what it took away: the routes that went by what it happened to, compared on both sides.
The last route of a system is `stranded`, however small the change looked; a next start of another system
is `diverted`; any other lost route is `weakened`. A change that took nothing away has the level of its name.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from itertools import takewhile

from bootwatch.judge.altered import usual
from bootwatch.judge.drafts import Consequence, Draft, stable_id
from bootwatch.judge.entries import Entry, read_order
from bootwatch.judge.entry_changes import same_order
from bootwatch.judge.finding_entries import leads_to_removable
from bootwatch.judge.lost_sight import lost_sight, was_program
from bootwatch.judge.lost_ways import LostWay, LostWays, uses
from bootwatch.judge.meanings import CHANGES, fill
from bootwatch.judge.outlook import How, Outlook, SystemOutlook, outlook
from bootwatch.judge.pairs import plain
from bootwatch.judge.sides import Sides
from bootwatch.judge.steps import By, NextStart, Route
from bootwatch.judge.systems import System
from bootwatch.judge.visiting import is_automatic
from bootwatch.judge.visitors import Visitors
from bootwatch.judge.ways import as_before, way_phrase
from bootwatch.model.change import Change, Finding
from bootwatch.model.level import Level, worst
from bootwatch.model.past import NO_PAST, Past, Spot
from bootwatch.model.path import fold, folder_of, uncounted
from bootwatch.model.snapshot import State

_TAKES_WAYS = frozenset(
    {
        "entry-missing",
        "entry-inactive",
        "entry-retargeted",
        "loader-missing",
        "loader-emptied",
        "volume-missing",
        "volume-reformatted",
    }
)
_QUIET = {
    "entry-added": "There is one more way of starting",
    "order-changed": "Entries are tried in another order",
    "next-set": "It is tried before the boot order, once",
    "volume-added": "The firmware may find a loader there too",
    "loader-added": "An entry or the firmware's own search can now start it",
}
_ON_VISITOR = "on a disk that comes and goes."
# What an entry is found again in spite of: where it stands in the order is another change.
_ATTRIBUTES = ("entry-renumbered", "entry-relabelled")
_REWRITTEN = ("file-changed", "loader-changed")
_ON_VOLUME = ("volume-", "partition-")
_ON_FILE = ("loader-", "file-")


class Consequences:
    """Of all changes between two states. What was asked for once, by BootNext, is apart from the order."""

    def __init__(self, sides: Sides, past: Past = NO_PAST) -> None:
        self.sides, self.past = sides, past
        self.visitors = Visitors(sides, past)
        self.before = outlook(usual(sides.before), sides.before_gaps, sides.systems)
        now = usual(sides.now)
        self.now = outlook(now, sides.gaps, sides.systems)
        is_usual = now is sides.now
        self.at_once = self.now if is_usual else outlook(sides.now, sides.gaps, sides.systems)
        self._lost = LostWays(sides, self.before, self.now)
        self._stranding: set[str] = set()

    @property
    def known_before(self) -> frozenset[str]:
        """The names of the systems that the baseline knows a way to."""
        return frozenset(one.name for one in self.before.systems if one.routes)

    @property
    def next_expected(self) -> bool | None:
        """Whether the system that would start next is the baseline's; None where either can't be told."""
        former, today = self.before.next_system, self.at_once.next_system
        following = self.at_once.next_start
        if former is None or not self.before.next_start.certain:
            return None
        if not following.certain and (not following.candidates or self._may_be_same(following, former)):
            return None
        return today is not None and today.key == former.key

    def of(self, draft: Draft) -> Consequence:
        """The worst of what the change led to."""
        found = [*self._losses(draft), *self._diversions(draft)]
        level = worst(one.level for one in found if one.level)
        worst_ones = [one for one in found if one.level is level]
        if not worst_ones:
            return self._without_loss(draft)
        sentences = dict.fromkeys(one.sentence for one in worst_ones)
        systems = dict.fromkeys(name for one in worst_ones for name in one.systems)
        sentence = _joined(sentences)
        if level is Level.STRANDED:
            self._stranding.add(sentence)
        return Consequence(level, sentence, tuple(systems))

    def unclaimed(self, drafts: Iterable[Draft]) -> Iterator[str]:
        """Entries through which a route was lost though nothing happened to them, nor to what they name."""
        known = list(drafts)
        for way in self._lost.all:
            route = way.route
            if route.entry and not way.only_asked and not any(self._took(one, route) for one in known):
                yield route.entry

    def unexplained(self, changes: Iterable[Change]) -> Iterator[Finding]:
        """Systems that would no longer start though no change says so, whatever level the config gave it."""
        told = {change.system for change in changes if change.consequence in self._stranding}
        for former in self.before.systems:
            today, system = self.now.by_key.get(former.system.key), former.system
            is_lost = bool(former.starts) and today is not None and today.starts is False
            visits = self.visitors.system(system)
            if is_lost and system.name not in told and system.is_watched and not visits:
                name, where = "no-way-left", ", ".join(system.volumes)
                what = stable_id(name, (system.key,))
                yield Finding(what, name, Level.STRANDED, system.name, system.name, where)

    # what a change took away

    def _losses(self, draft: Draft) -> Iterator[Consequence]:
        for way in self._lost.all:
            if not way.system.hidden and self._took(draft, way.route):
                yield self._loss(way)

    def _took(self, draft: Draft, route: Route) -> bool:
        """Whether what a change happened to is what a route of the baseline went by."""
        name = draft.change
        if name == "order-changed":
            return route.by is By.ORDER and self._lost.left_order(route)
        if name.startswith("entry-"):
            return isinstance(draft.before, dict) and draft.before.get("entry") == route.entry is not None
        if name.startswith(_ON_VOLUME):
            return route.volume is not None and plain(route.volume) == plain(str(draft.scope.get("volume")))
        if name.startswith(_ON_FILE):
            volume, path = str(draft.scope.get("volume")), draft.path
            by_menu = route.by is By.MENU and draft.system is not None and draft.system == route.through
            return by_menu or uses(route, volume, path)
        return False

    def _loss(self, way: LostWay) -> Consequence:
        today = self.now.by_key.get(way.system.key)
        starts = today.starts if today else False
        name = way.system.name
        if self.visitors.system(way.system):
            return Consequence(Level.ROUTINE, f"{name} is {_ON_VISITOR}", (name,))
        if starts is False:
            sentence = f"{name} would not start any more: no way to it is left."
            return Consequence(Level.STRANDED, sentence, (name,))
        if starts is None or today is None:
            sentence = f"One way to start {name} is gone; whether another one works could not be told."
            return Consequence(Level.WEAKENED, sentence, (name,))
        return Consequence(Level.WEAKENED, _left(way, today), (name,))

    # what starts instead

    def _diversions(self, draft: Draft) -> Iterator[Consequence]:
        if draft.change == "next-set":
            if self.at_once.next_start.by is By.NEXT:
                yield from self._instead(self.at_once, ", this once")
        elif self._moved(draft):
            yield from self._instead(self.now, "")

    def _instead(self, now: Outlook, once: str) -> Iterator[Consequence]:
        former, today = self.before.next_system, now.next_system
        if former is None or former.hidden or (today and today.key == former.key):
            return
        if self._may_be_same(now.next_start, former) or self._is_visit(former, now.next_start):
            return
        instead = today.name if today else _nobody(now.next_start)
        sentence = f"At the next switch-on {instead} would start instead of {former.name}{once}."
        yield Consequence(Level.DIVERTED, sentence, (former.name,))

    def _is_visit(self, former: System, following: NextStart) -> bool:
        """Whether another system starts only since a disk that comes and goes is there, or is not: the
        firmware puts its own entries for sticks in front, and the finding `removable-first` says so."""
        entry = self._entries_now.get(following.entry or "")
        is_automatic_one = entry is None or is_automatic(entry)
        on_visitor = following.volume is not None and self.visitors.volume(following.volume)
        return self.visitors.system(former) or (on_visitor and is_automatic_one)

    @cached_property
    def _entries_now(self) -> dict[str, Entry]:
        return {entry.name: entry for entry in self.sides.entries_now.values()}

    def _may_be_same(self, following: NextStart, former: System) -> bool:
        """Whether it isn't known that another system starts: the usual one is among what may."""
        if following.certain:
            return False
        owners = [
            self.sides.systems.system_of_file(one.volume, one.file, self.sides.now)
            if one.volume and one.file
            else None
            for one in following.candidates
        ]
        return any(owner is None or owner.key == former.key for owner in owners)

    def _moved(self, draft: Draft) -> bool:
        """Whether a change has to do with what started before or would start now."""
        if draft.change == "order-changed":
            return True
        if draft.change in _ATTRIBUTES:
            return False
        before, now = self.before.next_start, self.now.next_start
        entry = draft.after.get("entry") if isinstance(draft.after, dict) else None
        if draft.change.startswith("entry-"):
            return (entry is not None and entry == now.entry) or self._took(draft, _as_route(before))
        if draft.change.startswith(_ON_FILE):
            volume = str(draft.scope.get("volume"))
            if uses(_as_route(now), volume, draft.path) and not self._started_before(now):
                return True
            return uses(_as_route(before), volume, draft.path) or any(
                self._took(draft, way.route) for way in self._lost.all if way.route.place == before.place
            )
        return self._took(draft, _as_route(before))

    def _started_before(self, now: NextStart) -> bool:
        """Whether what starts next now started the same system before, if it was chosen: an update of it,
        and not what brought it to the front."""
        owner = self.now.next_system
        former = self.before.by_key.get(owner.key) if owner else None
        return former is not None and any(route.place == now.place for route in former.working())

    # what took nothing away

    def _without_loss(self, draft: Draft) -> Consequence:
        expected = self._expected(draft)
        if expected:
            return Consequence(Level.ROUTINE, expected)
        named = fill(CHANGES[draft.change].consequence, draft.what, draft.system)
        if draft.change in _TAKES_WAYS and not self._is_firmware_made(draft):
            said = as_before(self.before, self.now)
            none = "No way to start a system went by it that worked before."
            return Consequence(None, said or none)
        if self._is_needed_each_time(draft):
            return Consequence(
                Level.WEAKENED,
                f"It was written anew at many starts, so something still needs it: whether "
                f"{draft.system or 'a system'} starts without it can't be told.",
            )
        less = lost_sight(self.before, self.now, self.sides, draft)
        if less:
            return less
        if self._is_beside_loader(draft):
            return Consequence(
                Level.WEAKENED,
                f"It lay beside the loader of {draft.system or 'a system'}, which may need it: whether that "
                "still starts can't be told.",
            )
        following = self._same_next
        quiet = _QUIET.get(draft.change)
        return Consequence(None, f"{quiet}; {following} still starts next." if quiet and following else named)

    def _expected(self, draft: Draft) -> str:
        """Why a change that took nothing away is expected; "" where it isn't."""
        documents = [one for one in (draft.before, draft.after) if isinstance(one, dict)]
        if draft.change.startswith("entry-"):
            if self._is_firmware_made(draft):
                return "The firmware makes such entries itself, and takes them away with the device."
            if documents and all(map(self.visitors.entry, documents)):
                return "It is the firmware's own for a device, or leads to a disk that comes and goes."
        if draft.change.startswith((*_ON_VOLUME, *_ON_FILE)):
            if self.visitors.volume(str(draft.scope.get("volume"))):
                return f"It is {_ON_VISITOR}"
            if draft.change in _REWRITTEN and self._spot(draft) in self.past.volatile:
                return "Its content changes at many starts."
        is_volume = draft.change in ("volume-missing", "volume-added")
        if is_volume and self.visitors.idle(str(draft.scope.get("volume"))):
            return "Nothing starts from it: no program lies on it, and no entry names it."
        is_order = draft.change == "order-changed"
        is_kept = is_order and same_order(self.sides, lambda entry: not self.visitors.entry(entry.to_json()))
        if is_kept and not self._came_in_front:
            return "Only entries that come and go with their devices are tried at another place."
        return ""

    @cached_property
    def _came_in_front(self) -> bool:
        """Whether an entry for a device that stays, a network card say, was put in front of all systems."""
        sides = self.sides
        before = {now.number: old for old, now in sides.entries.same}
        stood = self._in_front(sides.before, sides.entries_before)
        front = (sides.entries_now[number] for number in self._in_front(sides.now, sides.entries_now))
        return any(
            not leads_to_removable(sides.now, entry)
            and (entry.number not in before or before[entry.number].number not in stood)
            for entry in front
        )

    def _in_front(self, state: State, entries: Mapping[int, Entry]) -> list[int]:
        """The entries before the first one that is no device's own."""
        known = [number for number in read_order(state) if number in entries and entries[number].is_tried]
        return list(takewhile(lambda number: self.visitors.entry(entries[number].to_json()), known))

    def _is_needed_each_time(self, draft: Draft) -> bool:
        """Whether a file is gone, or empty, that was written at many starts until now."""
        is_lost = draft.change in ("file-missing", "loader-missing", "loader-emptied")
        return is_lost and self._spot(draft) in self.past.volatile

    @staticmethod
    def _spot(draft: Draft) -> Spot:
        return plain(str(draft.scope.get("volume"))), fold(uncounted(draft.path))

    @cached_property
    def _same_next(self) -> str | None:
        """The system that starts next, where that is known and the same as before."""
        former, today = self.before.next_system, self.at_once.next_system
        if former is None or today is None or former.key != today.key or not self.at_once.next_start.certain:
            return None
        return today.name

    def _is_firmware_made(self, draft: Draft) -> bool:
        """Whether an entry is the firmware's own, for a device that it found."""
        documents = (draft.before, draft.after)
        return any(isinstance(one, dict) and one.get("firmware_made") for one in documents)

    def _is_beside_loader(self, draft: Draft) -> bool:
        """Whether a program is gone from the folder of a loader that starts a system: a second stage, say."""
        if draft.change != "file-missing" or not was_program(self.sides, draft):
            return False
        folder = (plain(str(draft.scope.get("volume"))), fold(folder_of(draft.path)))
        return any(
            (plain(route.volume or ""), fold(folder_of(route.file or ""))) == folder
            for one in self.before.systems
            for route in one.working()
        )


def _as_route(following: NextStart) -> Route:
    return Route(
        following.by,
        following.entry,
        following.label,
        following.volume,
        following.file,
        True,
        "",
        unattended=True,
    )


def _left(way: LostWay, today: SystemOutlook) -> str:
    """What is left to a system that lost a route."""
    if way.only_asked and today.how is How.ON_REQUEST:
        return f"{today.name} no longer starts by itself, only when somebody chooses it."
    working = sorted(today.working(), key=lambda route: not route.unattended)
    others = len(working) - 1
    more = f" and {others} other way{'s' if others > 1 else ''}" if others else ""
    asked = "" if today.how is How.BY_ITSELF else ", but only when somebody chooses it"
    return f"{today.name} still starts, through {way_phrase(working[0])}{more}{asked}; one way to it is gone."


def _joined(sentences: Iterable[str]) -> str:
    """Several consequences as one sentence."""
    return "; ".join(sentence.removesuffix(".") for sentence in sentences) + "."


def _nobody(following: NextStart) -> str:
    if following.by in (By.SETUP, By.NOTHING):
        return "the firmware's own menu"
    return following.label or following.file or "something else"
