"""Boot volumes and the files on them."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from bootwatch.model.known import known_fields
from bootwatch.model.path import fold, folder_of

_FILES = ("files", "by_folded_path", "by_folder")

# Where the Boot Loader Specification (UAPI) has its entries.
ENTRIES_FOLDER = "\\loader\\entries"


@dataclass(frozen=True)
class Program:
    """What the header of a file that begins with MZ declares; sizes in bytes, None where it can't be told.

    ``sections`` are those that hold something, of the ones by which a unified kernel image is known (.linux,
    .initrd, .osrel and so on); None where they were not recorded. ``names`` holds what it calls itself: from
    the version resource "product", "description", "company" and "original" (file name), from a unified kernel
    image's os-release "os" and "os_id", from its SBAT "vendor"; each only where it says so. ``mentions`` are
    names of other files in its text, in lower case, and ENTRIES_FOLDER; None where it was not searched.
    ``cmdline`` is the beginning of what a unified kernel image hands to its kernel.
    """

    machine: int | None
    subsystem: int | None
    declared_size: int | None
    problems: tuple[str, ...] = ()
    sections: tuple[str, ...] | None = None
    names: dict[str, str] = field(default_factory=dict)
    mentions: tuple[str, ...] | None = None
    cmdline: str = ""

    def to_json(self) -> dict[str, Any]:
        document: dict[str, Any] = {
            "machine": self.machine,
            "subsystem": self.subsystem,
            "declared_size": self.declared_size,
            "problems": list(self.problems),
        }
        lists = {"sections": self.sections, "mentions": self.mentions}
        document |= {name: list(value) for name, value in lists.items() if value is not None}
        return document | {
            name: value for name, value in (("names", self.names), ("cmdline", self.cmdline)) if value
        }

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> Program:
        known = known_fields(cls, document)
        for name in ("problems", "sections", "mentions"):
            if known.get(name) is not None:
                known[name] = tuple(known[name])
        return cls(**known)


@dataclass(frozen=True)
class File:
    """A file or folder. ``time`` is the volume's local time as text, a hint that is never compared.

    ``sha256`` is None for a folder and for a file whose content could not be read (a gap says why).
    """

    path: str
    size: int
    time: str
    sha256: str | None
    is_folder: bool = False
    program: Program | None = None

    def to_json(self) -> dict[str, Any]:
        if self.is_folder:
            return {"folder": True, "time": self.time}
        document: dict[str, Any] = {"size": self.size, "time": self.time, "sha256": self.sha256}
        if self.program:
            document["program"] = self.program.to_json()
        return document

    @classmethod
    def from_json(cls, path: str, document: dict[str, Any]) -> File:
        if document.get("folder"):
            return cls(path, 0, document["time"], None, is_folder=True)
        program = document.get("program")
        return cls(
            path,
            document["size"],
            document["time"],
            document["sha256"],
            program=Program.from_json(program) if program else None,
        )


@dataclass(frozen=True)
class Volume:
    """A FAT volume that takes part in starting.

    ``identity`` survives a reboot (gpt:PARTUUID, mbr:SIGNATURE-NUMBER, fat:SERIAL); ``disk`` the key of the
    disk it lies on, ``number`` its partition there (None without a table); ``start`` and ``size`` in bytes.
    """

    identity: str
    disk: str
    number: int | None
    type: str | None
    start: int
    size: int
    fat_type: int | None
    serial: str | None
    label: str
    files: dict[str, File] = field(repr=False)

    @cached_property
    def by_folded_path(self) -> dict[str, File]:
        return {fold(path): file for path, file in self.files.items()}

    @cached_property
    def by_folder(self) -> dict[str, list[File]]:
        """The files of each folder, by its folded path."""
        found: dict[str, list[File]] = {}
        for folded, file in self.by_folded_path.items():
            if not file.is_folder:
                found.setdefault(folder_of(folded), []).append(file)
        return found

    def file(self, path: str) -> File | None:
        """The file or folder at ``path``, whatever its case."""
        return self.by_folded_path.get(fold(path))

    def header_json(self) -> dict[str, Any]:
        """Everything but the files."""
        return {name: value for name, value in vars(self).items() if name not in _FILES}
