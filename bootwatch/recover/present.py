"""Whether a step may be carried out that no baseline bears out: an entry for a program that lies on one of
the machine's own volumes now, a second copy of one, an insertion into the order. Nothing else.

The reader works steps out from hostile bytes; whoever writes looks at disks and files itself.
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from bootwatch.formats.boot_list import parse
from bootwatch.formats.load_option import ACTIVE
from bootwatch.judge.architecture import NAMES
from bootwatch.judge.entries import Entry, parse_entry, variable_of
from bootwatch.judge.made_option import made_option
from bootwatch.model.disk import Partition
from bootwatch.model.path import fold, folder_of
from bootwatch.observe.disks import read_disks
from bootwatch.observe.machine import Machine
from bootwatch.problem import Problem
from bootwatch.recover.paths import parts_of
from bootwatch.recover.steps import SetNext, Step, WriteEntry, WriteFile, WriteOrder
from bootwatch.recover.variables import VariableStore
from bootwatch.recover.volumes import opened

_PROGRAM = b"MZ"
_LONGEST_LABEL = 64
_DEFAULTS = frozenset(f"\\EFI\\BOOT\\BOOT{name}.EFI" for name in NAMES)

Sources = Mapping[str, tuple[str, str]]
"""Where a content lies now, by its SHA-256: a volume's identity and a path."""


@dataclass(frozen=True)
class Present:
    """One machine as it is, looked at by who writes. ``sources`` is where copies may be taken from."""

    machine: Machine
    sources: Sources = field(default_factory=dict)

    def require(self, steps: Sequence[Step]) -> None:
        """Raise Problem, before anything is written, for a step that the machine itself doesn't bear out."""
        made = {step.number for step in steps if isinstance(step, WriteEntry) and step.over is None}
        coming = {(step.volume, fold(step.file.path)) for step in steps if isinstance(step, WriteFile)}
        for step in steps:
            if not self._is_allowed(step, made, coming):
                raise Problem(
                    f"What is on this machine doesn't bear out this step: {step.what}.",
                    "Nothing was written. Look at the machine once more, and run the command again.",
                )

    def copy(self, own: str) -> bytes:
        """The content with that SHA-256, from where it lies now. Raises Problem."""
        volume, path = self.sources.get(own, ("", ""))
        content = self._read(volume, path) if volume else None
        if content is None or hashlib.sha256(content).hexdigest() != own:
            raise Problem(f"The file to be copied is no longer as it was looked at: {path}.")
        return content

    def _is_allowed(self, step: Step, made: set[int], coming: set[tuple[str, str]]) -> bool:
        match step:
            case WriteFile():
                return self._is_second_copy(step)
            case WriteEntry() if step.over is None:
                return self._leads_to_a_program(step.data, coming)
            case WriteEntry():
                return step.data == _active(step.over or b"")
            case WriteOrder():
                return _is_insertion(step, made)
            case SetNext():
                return VariableStore(self.machine).read(variable_of(step.number)) is not None
        return False

    def _is_second_copy(self, step: WriteFile) -> bool:
        """A program from a disk that stays, at a default path or where it lies on another volume, over
        nothing."""
        path = step.file.path
        parts_of(path)
        volume, source = self.sources.get(step.file.sha256 or "", ("", ""))
        is_place = fold(path) in _DEFAULTS or fold(source) == fold(path)
        return (
            is_place
            and not step.over
            and {step.volume, volume} <= set(self._parts)
            and self.copy(step.file.sha256 or "")[:2] == _PROGRAM
        )

    def _leads_to_a_program(self, option: bytes, coming: set[tuple[str, str]]) -> bool:
        """Active, in short form, to a program on a volume that stays; with what its list hands to it."""
        entry = parse_entry(0, option)
        part = self._parts.get(entry.volume or "") if entry else None
        if entry is None or part is None or entry.file is None or not _is_plain(entry.label):
            return False
        parts_of(entry.file)
        own = made_option(part, entry.file, entry.label)
        if own is None or not option.startswith(own):
            return False
        place = part.identifier, fold(entry.file)
        if place not in coming and (self._read(part.identifier, entry.file) or b"")[:2] != _PROGRAM:
            return False
        handed = option[len(own) :]
        return not handed or self._is_listed(part.identifier, entry, handed)

    def _is_listed(self, volume: str, entry: Entry, handed: bytes) -> bool:
        """Whether the list beside the program names this entry, with what is handed to it."""
        path = entry.file or ""
        for name in NAMES:
            for row in parse(self._read(volume, f"{folder_of(path)}\\BOOT{name}.CSV") or b""):
                data = row.data.encode("utf-16-le", "surrogatepass")
                if fold(row.file) == fold(path.rpartition("\\")[2]) and data == handed:
                    return True
        return False

    @cached_property
    def _parts(self) -> dict[str, Partition]:
        """The partitions of disks that stay, but for those of which there are more of one name."""
        found: dict[str, list[Partition]] = {}
        for disk, _ in read_disks(self.machine).found:
            for part in disk.partitions:
                found.setdefault(part.identifier, []).extend([] if disk.removable else [part])
        return {name: parts[0] for name, parts in found.items() if len(parts) == 1}

    def _read(self, volume: str, path: str) -> bytes | None:
        try:
            with opened(self.machine, volume) as shelf:
                return shelf.read(path)
        except OSError:
            return None


def _active(option: bytes) -> bytes:
    """The option switched on, and all else as it is."""
    if len(option) < 4:
        return b""
    attributes = struct.unpack_from("<I", option)[0] | ACTIVE
    return struct.pack("<I", attributes) + option[4:]


def _is_insertion(step: WriteOrder, made: set[int]) -> bool:
    """Whether nothing is dropped or moved, and what isn't made just now comes behind all that was there."""
    kept = tuple(number for number in step.order if number in step.over)
    added = [number for number in step.order if number not in step.over]
    behind = [number for number in added if number not in made]
    is_end = not behind or set(step.order[-len(behind) :]) <= set(added)
    return kept == step.over and len(set(step.order)) == len(step.order) and is_end


def _is_plain(label: str) -> bool:
    return 0 < len(label) <= _LONGEST_LABEL and label.isprintable()
