"""Whether the firmware would run a file, as far as its headers tell (UEFI 2.10 §2.1.1, §7.4)."""

from __future__ import annotations

import re
from dataclasses import dataclass

from bootwatch.formats.pe import MACHINES, SUBSYSTEM_APPLICATION
from bootwatch.judge.architecture import Architecture
from bootwatch.model.volume import File, Program, Volume

# An 8.3 alias, as `FERNWI~1`; aliases are not recorded.
SHORT_NAME = re.compile(r"~\d")


@dataclass(frozen=True, slots=True)
class Verdict:
    """``starts`` is None where it can't be told. ``chosen``: its headers are those of an EFI application, so
    where an option leaves a choice the firmware settles for it, even if it then fails to start."""

    starts: bool | None
    why: str
    chosen: bool = False


@dataclass(frozen=True)
class Judge:
    """Judges files for one architecture. Whether a file lies in a gap, the caller says."""

    architecture: Architecture

    def file(self, volume: Volume, path: str, is_hidden: bool) -> Verdict:
        """The file at ``path``, whatever its case."""
        file = volume.file(path)
        if file is None:
            return _not_there(path, is_hidden)
        if file.is_folder:
            return Verdict(False, "it is a folder, not a program")
        if file.sha256 is None or (file.program is None and is_hidden):
            return Verdict(None, "the file is there, but could not be read", chosen=True)
        if file.size == 0:
            return Verdict(False, "the file is empty")
        if file.program is None:
            return Verdict(False, "the file is no EFI program")
        return self._program(file, file.program)

    def _program(self, file: File, program: Program) -> Verdict:
        if program.machine is None or program.subsystem is None:
            return Verdict(False, "the file is damaged: it is no whole EFI program")
        if program.subsystem != SUBSYSTEM_APPLICATION:
            return Verdict(False, "the file is an EFI program, but no application")
        if not self.architecture.runs(program.machine):
            made_for = MACHINES.get(program.machine, f"machine {program.machine:#06x}")
            return Verdict(
                False, f"the program is made for {made_for}, the firmware runs {self.architecture.name}", True
            )
        if program.declared_size is not None and file.size < program.declared_size:
            return Verdict(
                False, f"the program is cut short: {file.size} of {program.declared_size} bytes", chosen=True
            )
        return Verdict(True, "the program is there and whole", chosen=True)


def _not_there(path: str, is_hidden: bool) -> Verdict:
    if is_hidden:
        return Verdict(None, "whether the file is there could not be read")
    if SHORT_NAME.search(path):
        return Verdict(None, "the file is named by a short name, which is not recorded")
    return Verdict(False, "the file is not there")
