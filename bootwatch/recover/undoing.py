"""Which step undoes a change, or why none does. Pure."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from bootwatch.judge.adopted_entries import LEADS_NOWHERE, merged
from bootwatch.judge.entries import read_next, read_order, variable_of
from bootwatch.judge.pairs import plain
from bootwatch.judge.sides import Sides
from bootwatch.model.change import Change
from bootwatch.model.path import folder_of
from bootwatch.model.snapshot import State
from bootwatch.model.volume import Volume
from bootwatch.recover.former_order import former_order
from bootwatch.recover.made_anew import is_kept
from bootwatch.recover.numbers import as_before, free_number, with_number
from bootwatch.recover.steps import ClearNext, SetType, Step, WriteEntry, WriteFile, WriteOrder, is_type

HasCopy = Callable[[str], bool]
"""Whether a copy of the content with this SHA-256 was kept."""

_MENDED = ("entry-inactive", "entry-retargeted", "entry-data-changed")
FILES = ("loader-missing", "loader-emptied", "loader-changed", "file-missing", "file-changed")
UNDONE = (*_MENDED, *FILES, "entry-missing", "order-changed")
_BY_HAND = {
    "partition-renumbered": "where that partition is now can't be told from the partition table",
    "partition-reidentified": "which partition it is now can't be told from the partition table alone",
    "volume-missing": "the boot volume isn't there: attach its disk; where its partition or its file system "
    "is gone, the last of the ways on a recovery kit's sheet makes it anew",
    "secure-boot-switched": "Secure Boot is switched in the firmware's own setup",
    "keys-changed": "keys are authenticated: only their owner can put them back",
    "firmware-updated": "a firmware update is not undone",
    "timeout-changed": "it takes no way of starting away",
}
_WHYS = {
    "entry-missing": "The entry is gone.",
    "entry-inactive": "The firmware passes the entry over, since it is switched off.",
    "entry-retargeted": "The entry leads somewhere else.",
    "entry-data-changed": "What the entry hands to its loader is another.",
    "loader-missing": "The loader is gone.",
    "loader-emptied": "The loader is empty.",
    "loader-changed": "The loader is another one.",
    "file-missing": "The file is gone.",
    "file-changed": "The file is another one.",
    "partition-retyped": "Installers, updates and automatic mounts look for boot volumes by that type.",
}
_MOVED = "The entry leads to where its partition was."
_PARTITION_TYPE = re.compile(r"[0-9a-f-]{36}|mbr:[0-9a-f]{2}")
_SERIAL = re.compile(r"[0-9a-fA-F]{4}-[0-9a-fA-F]{4}")
_PART_NAME = re.compile(r"(gpt|mbr):([0-9a-f-]+)")


@dataclass(frozen=True)
class Left:
    """A change that is not undone, and why: a clause. ``command``: what a person can type instead; it holds
    nothing of the machine's own words."""

    change: Change
    why: str
    command: str = ""


@dataclass(frozen=True)
class Undoing:
    """Some changes, worst first, and how to undo them. ``moved`` are volumes' identities of today that are
    others than, or lie elsewhere than, the baseline had it; ``named`` are ids of changes that a person named,
    and a partition's type is set only then."""

    sides: Sides
    chosen: tuple[Change, ...]
    has_copy: HasCopy
    moved: frozenset[str] = frozenset()
    named: frozenset[str] = frozenset()

    def steps(self) -> tuple[list[Step], list[Left]]:
        """Files first, then entries, then the order: an entry leads to nothing that is still to come."""
        steps: list[Step] = []
        left: list[Left] = []
        for change in self.chosen:
            found = self._undone(change, steps)
            if isinstance(found, Left):
                left.append(found)
            elif isinstance(found, str):
                left.append(Left(change, found))
            else:
                steps += [found] if found else []
        steps.sort(key=lambda step: (isinstance(step, SetType), not isinstance(step, WriteFile)))
        return [*steps, *self._order(steps), *self._next()], [*left, *self._remains(left)]

    def _undone(self, change: Change, steps: Sequence[Step]) -> Step | Left | str | None:
        """The step that undoes a change; why there is none; None where another step does it."""
        if change.change == "entry-missing":
            return self._made(change, steps)
        if change.change in _MENDED:
            return self._mended(change)
        if change.change in FILES:
            return self._put_back(change)
        if change.change in ("order-changed", "next-set", "entry-added", "volume-reformatted"):
            return None
        if change.change == "partition-retyped":
            return self._retyped(change)
        return _BY_HAND.get(change.change, "nothing that is written here would undo it")

    # entries

    def _made(self, change: Change, steps: Sequence[Step]) -> Step | str:
        former = _number(change.before)
        variable = self.sides.before.variables[variable_of(former)]
        taken = [step.number for step in steps if isinstance(step, WriteEntry)]
        # Where the order still names the number, that is its place.
        is_own = variable_of(former) not in self.sides.now.variables and former not in taken
        number = former if is_own else free_number(self.sides.now, former, taken)
        if number is None:
            return "the firmware has no number left for an entry"
        return WriteEntry(number, variable.data, str(change.before["label"]), None, _WHYS[change.change])

    def _mended(self, change: Change) -> Step | str | None:
        number = _number(change.after)
        old = self.sides.now.variables[variable_of(number)].data
        own = self.sides.before.variables[variable_of(_number(change.before))].data
        names = {
            one.change
            for one in self.chosen
            if one.change in _MENDED and one.after and _number(one.after) == number
        }
        if sorted(names)[0] != change.change:
            return None  # one step undoes all that happened to an entry
        new = merged(old, own, names)
        if new == old:
            return "its disk is attached elsewhere: the entry itself is as it was"
        return WriteEntry(number, new, str(change.before["label"]), old, self._whys(change, sorted(names)))

    def _whys(self, change: Change, names: Iterable[str]) -> str:
        """A retargeted entry of a volume that moved leads to where that was."""
        is_moved = LEADS_NOWHERE in change.after or change.before.get("volume") in self.moved
        return " ".join(_MOVED if is_moved and one == "entry-retargeted" else _WHYS[one] for one in names)

    def _order(self, steps: Sequence[Step]) -> Iterator[Step]:
        """New entries at their place; where the order itself was changed, all as it was."""
        now = read_order(self.sides.now)
        made = {step.number for step in steps if isinstance(step, WriteEntry) and step.over is None}
        former = former_order(self.sides.before, self.sides.entries_now, self.sides.entries, steps)
        order = list(now)
        for number in (one for one in former if one in made):
            order = with_number(order, number, former)
        is_changed = any(one.change in ("order-changed", "entry-added") for one in self.chosen)
        listed = [number for number in self._unlisted if number not in order]
        if is_changed:
            order = as_before([*order, *listed], former)
        if order != now:
            why = (
                "The firmware tries entries in another order."
                if is_changed
                else "A new entry is tried at its place."
            )
            yield WriteOrder(tuple(order), tuple(now), why)

    @cached_property
    def _unlisted(self) -> list[int]:
        """Today's numbers of entries that the baseline's order lists and today's doesn't."""
        listed, today = set(read_order(self.sides.before)), set(read_order(self.sides.now))
        return [
            now.number
            for before, now in self.sides.entries.same
            if before.number in listed and now.number not in today
        ]

    def _next(self) -> Iterator[Step]:
        """Only what is asked for once and starts another system than usual."""
        variable = self.sides.now.variable("BootNext")
        is_asked = variable is not None and read_next(self.sides.now) is not None
        if variable and is_asked and any(one.change == "next-set" for one in self.chosen):
            yield ClearNext(variable.data, "Another system was asked for at the next start.")

    # files

    def _put_back(self, change: Change) -> Step | str:
        identity, path = str(change.scope["volume"]), str(change.scope["path"])
        former, volume = _on(self.sides.before, identity), _on(self.sides.now, identity)
        before = former.file(path) if former else None
        if before is None or before.sha256 is None:
            return "what it held is not known"
        if volume is None:
            return "its boot volume isn't there, or can't be told from another one"
        if not self.has_copy(before.sha256):
            kept = is_kept(before, self.sides.before.texts)
            return "no copy of it was kept" if kept else _anew(change)
        there = volume.file(path)
        if there and there.is_folder:
            return "a folder of that name lies there"
        if above := _file_above(volume, path):
            return f"{above} was a folder, and a file lies there now: move it away, then run this once more"
        over = (there.sha256 or "?") if there else ""
        return WriteFile(volume.identity, before, over, _WHYS[change.change])

    # volumes

    def _retyped(self, change: Change) -> Step | Left | str:
        volume = _on(self.sides.now, str(change.after.get("volume")))
        kind = str(change.before.get("type"))
        if change.id not in self.named:
            return _retyping(change)
        if volume is None or volume.type is None or not is_type(kind):
            return "its partition isn't there, or can't be told from another one"
        return SetType(volume.identity, kind, volume.type, _WHYS[change.change])

    def _remains(self, left: Sequence[Left]) -> Iterator[Left]:
        """Volumes that were made anew and on which not all comes back that took a way of starting away."""
        for change in self.chosen:
            if change.change != "volume-reformatted":
                continue
            identity = str(change.scope["volume"])
            if _on(self.sides.now, identity) is None:
                yield _formatting(change, self.sides.before, identity)
            elif any(one.change.scope.get("volume") == identity for one in left):
                yield Left(change, "not all that lay on it comes back")


def _anew(change: Change) -> str:
    whose = change.system or "its system"
    return f"no copy of such a file is kept; it is made anew by {whose}'s own tools, or from its packages"


def _retyping(change: Change) -> Left:
    """How a person sets the type, by the kernel's own name for the partition."""
    number, kind = change.before.get("partition"), str(change.before.get("type"))
    name = _PART_NAME.fullmatch(plain(str(change.after.get("volume"))))
    said = f"firmware starts from it all the same, so it is set only when it is named: --also {change.id}"
    if name is None or not isinstance(number, int) or not _PARTITION_TYPE.fullmatch(kind):
        return Left(change, said)
    disk = f'"/dev/$(lsblk -ndo PKNAME /dev/disk/by-partuuid/{name[2]})"'
    command = f"sudo sfdisk --part-type {disk} {number} {kind.removeprefix('mbr:')}"
    return Left(change, f"{said}; or by hand", command)


def _formatting(change: Change, before: State, identity: str) -> Left:
    """How a person makes a file system anew that is gone from its partition."""
    volume = _on(before, identity)
    name = _PART_NAME.fullmatch(plain(identity))
    said = "its file system is gone, and with it whatever else lay there; it is made anew by hand"
    if (
        volume is None
        or name is None
        or not re.fullmatch(r"[0-9a-fA-F]{4}-[0-9a-fA-F]{4}", volume.serial or "")
    ):
        return Left(change, said)
    serial = (volume.serial or "").replace("-", "")
    kind = f" -F {volume.fat_type}" if volume.fat_type else ""
    command = f"sudo mkfs.fat{kind} -i {serial} /dev/disk/by-partuuid/{name[2]}"
    return Left(change, f"{said}, and then this is run once more", command)


def _on(state: State, identity: str) -> Volume | None:
    """The volume of that identity; None where there is none, or more than one."""
    found = [one for one in state.volumes.values() if plain(one.identity) == plain(identity)]
    return found[0] if len(found) == 1 else None


def _file_above(volume: Volume, path: str) -> str:
    """The file that lies where a folder above ``path`` would have to be; "" for none."""
    folder = folder_of(path)
    while folder:
        if (there := volume.file(folder)) and not there.is_folder:
            return there.path
        folder = folder_of(folder)
    return ""


def _number(entry: dict[str, str]) -> int:
    return int(entry["entry"].removeprefix("Boot"), 16)
