"""The steps of a restore: what each writes where, and what the machine's state is after it.

``why`` is a sentence for people, ``what`` an instruction without its full stop; both may carry hostile
characters. A step as JSON is what the reader works out and an administrator's command carries out. ``target``
is what it writes: a volume and a folded path, or "" and a variable's name.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from bootwatch.judge import altered
from bootwatch.judge.entries import entry_name, variable_of
from bootwatch.model.disk import TYPE_NAMES
from bootwatch.model.path import fold, folder_of
from bootwatch.model.snapshot import State
from bootwatch.model.variable import Variable, entry_number, key
from bootwatch.model.volume import File

_TYPE = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}|mbr:[0-9a-f]{2}")
# Nothing there, or others within it.
_NO_FILES = frozenset({"mbr:00", "mbr:05", "mbr:0f", "mbr:85", "00000000-0000-0000-0000-000000000000"})
KEPT = 0x07  # non-volatile, readable before and after the system has started (UEFI 2.10 §3.3)


@dataclass(frozen=True)
class WriteFile:
    """A file back at its place on a volume (by identity). ``over`` is the SHA-256 of what lies there now, ""
    for nothing; ``size`` in bytes."""

    volume: str
    file: File
    over: str
    why: str

    @property
    def what(self) -> str:
        verb = "put back over what lies there now" if self.over else "put back"
        return f"{verb}: {self.file.path} on {self.volume}"

    @property
    def target(self) -> tuple[str, str]:
        return self.volume, fold(self.file.path)

    def after(self, state: State) -> State:
        return altered.with_copy(
            _with_folders(state, self.volume, self.file.path), self.volume, self.file, self.file.path
        )

    def to_json(self) -> dict[str, Any]:
        return {
            "step": "write-file",
            "volume": self.volume,
            "path": self.file.path,
            "size": self.file.size,
            "sha256": self.file.sha256,
            "over": self.over,
            **_words(self),
        }


@dataclass(frozen=True)
class WriteEntry:
    """A boot entry: ``data`` is the whole load option (UEFI 2.10 §3.1.3); ``over`` what the variable holds
    now, None where there is none."""

    number: int
    data: bytes
    label: str
    over: bytes | None
    why: str

    @property
    def what(self) -> str:
        verb = "make the entry" if self.over is None else "mend the entry"
        return f'{verb} "{self.label}" ({entry_name(self.number)})'

    @property
    def target(self) -> tuple[str, str]:
        return "", entry_name(self.number)

    def after(self, state: State) -> State:
        name = variable_of(self.number)
        former = state.variables.get(name)
        variable = Variable(former.attributes if former else KEPT, self.data)
        return replace(state, variables={**state.variables, name: variable})

    def to_json(self) -> dict[str, Any]:
        over = None if self.over is None else self.over.hex()
        return {
            "step": "write-entry",
            "entry": entry_name(self.number),
            "label": self.label,
            "data": self.data.hex(),
            "over": over,
            **_words(self),
        }


@dataclass(frozen=True)
class WriteOrder:
    """The boot order, by entries' numbers; ``over`` is what it is at that point."""

    order: tuple[int, ...]
    over: tuple[int, ...]
    why: str

    @property
    def what(self) -> str:
        return f"set the boot order to {', '.join(map(entry_name, self.order))}"

    target = ("", "BootOrder")

    def after(self, state: State) -> State:
        return altered.with_order(state, self.order)

    def to_json(self) -> dict[str, Any]:
        names = [list(map(entry_name, order)) for order in (self.order, self.over)]
        return {"step": "write-order", "order": names[0], "over": names[1], **_words(self)}


@dataclass(frozen=True)
class ClearNext:
    """BootNext away: nothing is asked for once any more."""

    over: bytes
    why: str
    what = "take back what was asked for at the next start only (BootNext)"

    target = ("", "BootNext")

    def after(self, state: State) -> State:
        gone = key("BootNext")
        return replace(state, variables={name: one for name, one in state.variables.items() if name != gone})

    def to_json(self) -> dict[str, Any]:
        return {"step": "clear-next", "over": self.over.hex(), **_words(self)}


@dataclass(frozen=True)
class SetNext:
    """BootNext: an entry for the next start alone (UEFI 2.10 §3.1.2); ``over`` is what it holds now."""

    number: int
    label: str
    over: bytes | None
    why: str
    target = ("", "BootNext")

    @property
    def what(self) -> str:
        return f'ask for "{self.label}" ({entry_name(self.number)}) at the next start only (BootNext)'

    @property
    def data(self) -> bytes:
        return self.number.to_bytes(2, "little")

    def after(self, state: State) -> State:
        former = state.variable("BootNext")
        variable = Variable(former.attributes if former else KEPT, self.data)
        return replace(state, variables={**state.variables, key("BootNext"): variable})

    def to_json(self) -> dict[str, Any]:
        over = None if self.over is None else self.over.hex()
        named = {"entry": entry_name(self.number), "label": self.label}
        return {"step": "set-next", **named, "over": over, **_words(self)}


@dataclass(frozen=True)
class SetType:
    """The type of the partition that a boot volume (by identity) lies in; ``over`` is what it is now. Both as
    a partition's type."""

    volume: str
    type: str
    over: str
    why: str

    @property
    def what(self) -> str:
        name = TYPE_NAMES.get(self.type)
        return f"set the type of the partition {self.volume} to {self.type}" + (f" ({name})" if name else "")

    @property
    def target(self) -> tuple[str, str]:
        return "type", self.volume

    def after(self, state: State) -> State:
        held = state.volumes.get(self.volume)
        if held is None:
            return state
        disks = dict(state.disks)
        if disk := disks.get(held.disk):
            parts = (
                replace(part, type=self.type) if part.number == held.number else part
                for part in disk.partitions
            )
            disks[held.disk] = replace(disk, partitions=tuple(parts))
        volumes = {**state.volumes, self.volume: replace(held, type=self.type)}
        return replace(state, disks=disks, volumes=volumes)

    def to_json(self) -> dict[str, Any]:
        kinds = {"type": self.type, "over": self.over}
        return {"step": "set-type", "volume": self.volume, **kinds, **_words(self)}


Step = WriteFile | WriteEntry | WriteOrder | ClearNext | SetNext | SetType


def is_type(kind: str) -> bool:
    """Whether it is a type that a partition with files can have."""
    return bool(_TYPE.fullmatch(kind)) and kind not in _NO_FILES


def after_all(state: State, steps: Sequence[Step]) -> State:
    """What the machine's state is once all of them are done."""
    for step in steps:
        state = step.after(state)
    return state


def from_json(document: dict[str, Any]) -> Step:
    """Raises KeyError, TypeError or ValueError for what is no step."""
    kind, why = document["step"], str(document["why"])
    match kind:
        case "write-file":
            file = File(str(document["path"]), int(document["size"]), "", str(document["sha256"]))
            return WriteFile(str(document["volume"]), file, str(document["over"]), why)
        case "write-entry":
            over = None if document["over"] is None else bytes.fromhex(document["over"])
            data, label = bytes.fromhex(document["data"]), str(document["label"])
            return WriteEntry(_entry(document["entry"]), data, label, over, why)
        case "write-order":
            order, over_order = (tuple(map(_entry, document[name])) for name in ("order", "over"))
            return WriteOrder(order, over_order, why)
        case "clear-next":
            return ClearNext(bytes.fromhex(document["over"]), why)
        case "set-next":
            over = None if document["over"] is None else bytes.fromhex(document["over"])
            return SetNext(_entry(document["entry"]), str(document["label"]), over, why)
        case "set-type":
            return SetType(str(document["volume"]), str(document["type"]), str(document["over"]), why)
    raise ValueError(f"{kind!r} is no step that is known")


def _entry(name: str) -> int:
    number = entry_number(key(name))
    if number is None:
        raise ValueError(f"{name!r} is no boot entry")
    return number


def _words(step: Step) -> dict[str, str]:
    return {"what": step.what, "why": step.why}


def _with_folders(state: State, volume: str, path: str) -> State:
    """With the folders above a file, which are made with it."""
    held = state.volumes.get(volume)
    if held is None:
        return state
    files = dict(held.files)
    folder = folder_of(path)
    while folder and fold(folder) not in held.by_folded_path:
        files[folder] = File(folder, 0, "", None, is_folder=True)
        folder = folder_of(folder)
    changed = replace(held, files=files)
    return replace(state, volumes={**state.volumes, volume: changed})
