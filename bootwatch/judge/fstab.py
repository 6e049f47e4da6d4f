"""fstab's lines for boot volumes, and what they name (fstab(5), systemd.mount(5))."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from bootwatch.judge.file_systems import FileSystems, Held
from bootwatch.judge.settings_words import LABEL
from bootwatch.model.snapshot import State
from bootwatch.model.volume import Volume

_SOURCE = re.compile(
    r"(?P<tag>UUID|PARTUUID|LABEL|PARTLABEL)=(?P<value>.+)"
    r"|/dev/disk/by-(?P<folder>uuid|partuuid|label|partlabel)/(?P<link>.+)"
)
_ESCAPED = re.compile(r"\\x([0-9a-fA-F]{2})")
_FAT = frozenset({"vfat", "msdos"})
_NOT_WAITED_FOR = frozenset({"nofail", "noauto", "x-systemd.automount", "comment=systemd.automount"})
_USUAL = ("/boot", "/boot/efi", "/efi")
_MOST, _LONGEST = 64, 400
# A partition's name lies in the table. A FAT volume that the firmware starts from can't lie in what the
# firmware doesn't understand.
_HIDE_NO_TABLE = frozenset({"crypto_LUKS", "crypto_FVE", "LVM2_member", "unknown", "unreadable", ""})
_HIDE_NO_BOOT_VOLUME = frozenset({"crypto_LUKS", "crypto_FVE", "LVM2_member"})


@dataclass(frozen=True)
class Line:
    """One line. ``tag`` is "UUID", "PARTUUID", "LABEL" or "PARTLABEL", "" where it names its volume in
    another way, which says nothing about what lies on which disk."""

    source: str
    target: str
    kind: str
    options: frozenset[str]
    tag: str = ""
    name: str = ""

    @classmethod
    def of(cls, document: dict[str, Any]) -> Line:
        source, target, kind, options = (
            str(document.get(name) or "")[:_LONGEST] for name in ("source", "target", "type", "options")
        )
        match = _SOURCE.fullmatch(source)
        tag, name = "", ""
        if match and match["tag"]:
            tag, name = match["tag"], match["value"]
        elif match:
            tag = match["folder"].upper()
            name = _ESCAPED.sub(lambda found: chr(int(found[1], 16)), match["link"])
        words = frozenset(word.strip() for word in options.split(","))
        return cls(source, target.rstrip("/") or "/", kind, words, tag, name)

    @property
    def is_label(self) -> bool:
        return self.tag.endswith("LABEL")

    @property
    def is_table(self) -> bool:
        """Whether it names a partition by what the partition table says of it."""
        return self.tag.startswith("PART")

    @property
    def is_usual(self) -> bool:
        """Whether it is mounted where boot loaders and kernels are updated."""
        return self.target in _USUAL

    @property
    def is_for_boot(self) -> bool:
        return self.target.startswith(("/boot", "/efi"))

    @property
    def is_waited_for(self) -> bool:
        """Whether a start stops when its volume isn't there."""
        return self.options.isdisjoint(_NOT_WAITED_FOR)

    @property
    def transparent(self) -> frozenset[str]:
        """Kinds of partitions in which what it names can't be hidden."""
        if self.is_table:
            return _HIDE_NO_TABLE
        return _HIDE_NO_BOOT_VOLUME if self.kind in _FAT and self.is_usual else frozenset()


class Fstab:
    """The running system's, on one machine."""

    def __init__(self, state: State, file_systems: FileSystems) -> None:
        self._state, self._file_systems = state, file_systems

    @cached_property
    def lines(self) -> tuple[Line, ...]:
        recorded = self._state.facts.get("fstab")
        documents = recorded if isinstance(recorded, list | tuple) else ()
        return tuple(Line.of(one) for one in documents[:_MOST] if isinstance(one, dict))

    def held(self, line: Line) -> list[Held]:
        """What goes by the name in a line; none as well where it names nothing by which that is told."""
        return self._file_systems.named(LABEL + line.name if line.is_label else line.name) if line.tag else []

    def volumes(self, line: Line) -> Iterator[Volume]:
        """The boot volumes that a line names; more than one where disks were copied."""
        return (held.volume for held in self.held(line) if held.volume)

    def is_missing(self, line: Line) -> bool:
        """Whether what a line names is surely on no disk of this machine."""
        return bool(line.tag) and not self.held(line) and not self._file_systems.doubt_but(line.transparent)
