"""startup.nsh of a recovery kit: what a UEFI shell runs where no system starts any more (UEFI Shell 2.2).

The script looks first and writes after a key. What it goes by:

* A volume is found by its partition's identifier in the device path that `map -sfo` gives, so also when it
  is empty; else by loaders of its own. FSn numbers are never relied on.
* A variable's content is what `dmpstore -sfo | parse` gives, compared as text. An entry is missing where no
  number holds its bytes; it gets its own number if that is free, else a spare one.
* A text can't be searched. Whether the boot order lists a number is asked of `dmpstore` by pattern: the
  order becomes the name of a variable in memory, and `????` stands for each place before the number.
* Where only files tell a volume (its partition was made anew), `bcfg` makes the path. It takes the first
  number that the boot order doesn't list, whatever is there; so the order lists all below for that moment.

The shell replaces `%` and a digit anywhere, so no digit ever stands behind a variable; and its `if` takes
what begins with "not" for that word, quoted or not.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from bootwatch.judge.entries import read_order
from bootwatch.judge.meanings.common import MANUAL, SEALED
from bootwatch.judge.pairs import plain
from bootwatch.model.path import fold
from bootwatch.model.snapshot import State
from bootwatch.model.volume import File, Volume
from bootwatch.recover.kit_contents import place_of
from bootwatch.recover.shell_entries import Entries, by_plain, wanted
from bootwatch.recover.shell_exact import dmpstore_file, entries_nsh
from bootwatch.recover.shell_text import (
    NOT_FOUND,
    can_name,
    each,
    remarks,
    said,
    script,
    shown,
    when,
)

# The namespace of the variables in memory that the script makes and takes away again.
_OWN = "5d1f6b1e-2c0a-4f7b-9b53-6a0c7f2e8d41"
_VOLUMES_TRIED, _MAPPINGS_TRIED = "run (0 31)", "run (1 64)"
_MOST_FILES, _MOST_PROBES = 60, 4
_DEFAULTS = "\\EFI\\BOOT\\"

KitPath = Callable[[Volume, File], str | None]
"""Where in the kit, with slashes, the copy of a file lies; None where there is none."""


def shell_files(
    state: State, machine: str, saved: str, folders: Mapping[str, str], held: Collection[str]
) -> dict[str, bytes]:
    """What a kit has for the shell, by its path there. ``folders``: of volumes, by identity; ``held``:
    the kit's files."""

    def inside(volume: Volume, file: File) -> str | None:
        path = place_of(folders.get(volume.identity, ""), file)
        return path if path in held else None

    exact = {"entries.nsh": entries_nsh(state), "entries.dmpstore": dmpstore_file(state)}
    return {"startup.nsh": startup_nsh(state, machine, saved, inside), **exact}


def startup_nsh(state: State, machine: str, saved: str, kit_path: KitPath) -> bytes:
    """The script for a baseline of the machine of that name, ``saved`` at that time."""
    return script(_Script(state, machine, saved, kit_path).lines())


@dataclass(frozen=True)
class _Script:
    state: State
    machine: str
    saved: str
    kit_path: KitPath

    def lines(self) -> Iterator[str]:
        entries = Entries(wanted(self.state, self._volumes), tuple(read_order(self.state)))
        yield from self._head()
        yield from self._find_volumes()
        yield from self._cautions()
        for number, volume in enumerate(self._volumes):
            yield from self._told(number, volume)
        yield from self._look_at_files()
        yield from entries.look()
        yield from self._ask(entries)
        for number, volume in enumerate(self._volumes):
            yield from self._copy_files(number, volume)
        for one in entries.wanted:
            yield from entries.write_entry(one)
        yield from entries.write_order()
        yield from self._end()

    @cached_property
    def _volumes(self) -> list[Volume]:
        return list(by_plain(self.state).values())

    def _head(self) -> Iterator[str]:
        yield "@echo -off"
        about = f'Made by bootwatch for the machine "{self.machine}" from its baseline of {self.saved}.'
        yield from remarks(about)
        yield from remarks("It looks, says what it would write, waits for a key, writes, and reads back.")
        yield from said(
            f"Kit of {self.machine} (as it was on {self.saved[:10]}): looking for its volumes ..."
        )
        yield "map -r >v bwnothing"
        yield f"set -v bwg {_OWN}"
        yield "set -v bwany no"
        yield "set -v bwfound no"
        yield "set -v bwleft no"
        yield from _require_able()

    def _cautions(self) -> Iterator[str]:
        yield 'echo " "'
        yield from said(f"{self.machine}: start again from this kit (as it was on {self.saved[:10]}).")
        yield 'echo " "'
        for care in (SEALED, MANUAL):
            yield from said(care, "  ")
        yield from said("Let it run on mains power. The other system must not be hibernated.", "  ")
        yield 'echo " "'

    # volumes

    def _find_volumes(self) -> Iterator[str]:
        names = range(len(self._volumes))
        for number in names:
            yield f"set -v bwv{number} none"
            yield f"set -v bwi{number} no"
        yield from remarks("Volumes by their partition's identifier.")
        look = ['setvar "bwm%bwp%" -guid %bwg% -bs =01']
        for number, volume in enumerate(self._volumes):
            look += _match(number, volume)
        look += ['setvar "bwm%bwp%" -guid %bwg% =']
        mapping = ["set -v bwm none", "map -sfo | parse Mappings 2 -i %a >v bwm"]
        one = ["map -sfo | parse Mappings 3 -i %a >v bwp", *when('exist "%bwm%\\"', look)]
        mapping += when('"%bwm%" == "none"', ["set -v bwlast yes"], one)
        yield "set -v bwlast no"
        yield from each("a", _MAPPINGS_TRIED, when('"%bwlast%" == "no"', mapping))
        yield from remarks("What is left, by files of its own.")
        for number, volume in enumerate(self._volumes):
            yield from self._by_files(number, volume)
        for number in names:
            yield from when(f'not "%bwv{number}%" == "none"', ["set -v bwfound yes"])
        yield from when('"%bwfound%" == "no"', [*_NOT_THIS, "exit /b 1"])

    def _by_files(self, number: int, volume: Volume) -> Iterator[str]:
        others = [f'not "%bwv{other}%" == "FS%a:"' for other in range(len(self._volumes)) if other != number]
        for path in self._probes(volume):
            lines = [f"set -v bwv{number} FS%a:"]
            for other in others:
                lines = when(other, lines)
            look = each("a", _VOLUMES_TRIED, when(f'exist "FS%a:{path}"', lines))
            yield from when(f'"%bwv{number}%" == "none"', look)

    def _probes(self, volume: Volume) -> list[str]:
        """Loaders that no other volume of the baseline has."""
        own = []
        for file in _programs(volume):
            others = [one for one in self.state.volumes.values() if one is not volume]
            is_default = fold(file.path).startswith(fold(_DEFAULTS))
            if not is_default and can_name(file.path) and not any(one.file(file.path) for one in others):
                own.append(file.path)
        return own[:_MOST_PROBES]

    def _told(self, number: int, volume: Volume) -> Iterator[str]:
        name = _name(volume)
        where = f'echo "{name}: %bwv{number}%"'
        by_files = [
            f'echo "{name}: %bwv{number}%, by its files (its partition or its number is another one now)"'
        ]
        twice = [
            f'echo "{name}: found twice. Take one of the two disks out first; no file is written."',
            f"set -v bwv{number} none",
            "set -v bwleft yes",
        ]
        missing = [f'echo "{name}: not found"', "set -v bwleft yes"]
        found = when(f'"%bwi{number}%" == "no"', by_files, [where])
        lines = when(f'"%bwi{number}%" == "twice"', twice, found)
        yield from when(f'"%bwv{number}%" == "none"', missing, lines)

    # files

    def _files(self, volume: Volume) -> list[tuple[File, str]]:
        """Those with a copy in the kit, programs first, with the copy's path there."""
        found = []
        files = sorted(volume.files.values(), key=lambda file: (file.program is None, file.path))
        for file in files:
            inside = None if file.is_folder or not file.sha256 else self.kit_path(volume, file)
            if inside and can_name(file.path) and can_name(inside.replace("/", "\\")):
                found.append((file, inside.replace("/", "\\")))
        return found[:_MOST_FILES]

    def _look_at_files(self) -> Iterator[str]:
        for number, volume in enumerate(self._volumes):
            lines: list[str] = []
            for place, (file, _) in enumerate(self._files(volume)):
                lines += _look_at_file(f"bwc{number}x{place}", f"%bwv{number}%{file.path}", file)
            yield from when(f'not "%bwv{number}%" == "none"', lines) if lines else ()

    def _copy_files(self, number: int, volume: Volume) -> Iterator[str]:
        lines: list[str] = []
        for place, (file, inside) in enumerate(self._files(volume)):
            target = f"%bwv{number}%{file.path}"
            deeds = [
                line for folder in _folders(file.path) for line in _made_folder(f"%bwv{number}%{folder}")
            ]
            # One that is marked read-only would be refused.
            deeds += when(f'exist "{target}"', [f'attrib -r -s -h "{target}" >v bwnothing'])
            deeds += [f'cp -q "%0\\..\\{inside}" "{target}" >v bwnothing', *_look_at_size(target)]
            good = [f'echo "{target}: put back"']
            bad = [f'echo "{target}: COULD NOT BE WRITTEN (is the volume full, or write-protected?)"']
            deeds += when(f'"%bws%" == "{file.size}"', good, bad)
            lines += when(f'"%bwc{number}x{place}%" == "yes"', deeds)
        if lines:
            yield from when(f'not "%bwv{number}%" == "none"', lines)

    # words

    def _ask(self, entries: Entries) -> Iterator[str]:
        named = [one for one in entries.wanted if not one.entry.path.startswith("HD(")]
        fine = [
            'echo "Nothing of this is missing. (Files were compared by their size alone.)"',
            *(_PORTS if named else ()),
        ]
        fine = when('"%bwleft%" == "yes"', _NOT_BY_THIS, fine)
        yield from when('"%bwany%" == "no"', [*fine, *_MENU, "exit /b 0"])
        yield 'echo " "'
        yield from said("What is missing would be put back now. Nothing was written so far.")
        yield "pause"

    def _end(self) -> Iterator[str]:
        yield 'echo " "'
        yield from when('"%bwleft%" == "yes"', _NOT_BY_THIS)
        yield from said("Done. To start the machine anew, type: reset")
        yield from _MENU


_TOO_OLD = said(
    "This shell can't say what the firmware holds (it is too old, or made without these commands). Nothing "
    "was written. Take another way back: see the sheet in this kit, or a newer shell (2.2)."
)
_NOT_THIS = said("None of its volumes is here: it is another machine's kit, or the disk doesn't answer.")
_NOT_BY_THIS = said(
    "What wasn't found, or is left as it is, can't be put back by this: the sheet in this kit says what can."
)
_PORTS = said(
    "Whether an entry names a port that its disk has left isn't seen from here: choose the disk in the "
    "firmware's own menu, and bring the entry back from the system that starts (way 1 of the sheet)."
)
_MENU = said(
    "A firmware may drop what was written. If a system doesn't start then, choose it in the "
    "firmware's own menu (the key for it is in the maker's manual), and look at the sheet in this kit."
)


def _require_able() -> Iterator[str]:
    """Ends where the shell doesn't tell mappings, or variables: nothing would be found, and be made anew.

    A pipe to a command that isn't there would end the script without a word.
    """
    yield from remarks("Whether this shell can say what is there: it is asked for what is known.")
    yield "parse >v bwnothing"
    yield from when(f'"%lasterror%" == "{NOT_FOUND}"', [*_TOO_OLD, "exit /b 2"])
    yield "set -v bwr none"
    yield "setvar bwtry -guid %bwg% -bs =5A"
    yield "dmpstore bwtry -guid %bwg% -sfo | parse VariableInfo 6 >v bwr"
    yield "setvar bwtry -guid %bwg% ="
    yield "set -v bwm none"
    yield "map -sfo | parse Mappings 2 -i 1 >v bwm"
    yield from when('not "%bwr%" == "5A"', [*_TOO_OLD, "exit /b 2"])
    yield from when('"%bwm%" == "none"', [*_TOO_OLD, "exit /b 2"])


def _match(number: int, volume: Volume) -> list[str]:
    """Whether the mapping bwm is that volume, by its path in the name of a variable."""
    pattern = _pattern(volume)
    if not pattern:
        return []
    lines = ["set -v bwr none"]
    lines += [f'dmpstore "bwm*{pattern}*" -guid %bwg% -sfo | parse VariableInfo 6 >v bwr']
    first = [f"set -v bwv{number} %bwm%", f"set -v bwi{number} yes"]
    again = when(f'"%bwi{number}%" == "no"', first, [f"set -v bwi{number} twice"])
    return lines + when('"%bwr%" == "01"', again)


def _programs(volume: Volume) -> Iterable[File]:
    return (file for _, file in sorted(volume.files.items()) if file.program)


def _pattern(volume: Volume) -> str:
    """How a device path names the partition (UEFI 2.10 §10.6.1.5); "" for a volume without one. With its
    number, as firmware may go by it: an entry to the former number is one to another partition."""
    kind, _, name = plain(volume.identity).partition(":")
    if kind == "gpt":
        return f"HD({volume.number or '*'},GPT,{name.upper()},"
    signature, _, number = name.partition("-")
    return f"HD({int(number, 16)},MBR,0x{signature.upper()}," if kind == "mbr" else ""


def _name(volume: Volume) -> str:
    label = f" ({shown(volume.label)})" if volume.label else ""
    return f"Boot volume {shown(plain(volume.identity))}{label}"


def _look_at_size(path: str) -> list[str]:
    """bws: the file's size, "none" where it isn't there."""
    return ["set -v bws none", f'ls "{path}" -sfo | parse FileInfo 3 >v bws']


def _look_at_file(key: str, path: str, file: File) -> list[str]:
    """Missing or emptied: to be put back. Of another size: an update's perhaps, so only said."""
    back = [f"set -v {key} yes", "set -v bwany yes"]
    lines = [f"set -v {key} no", *_look_at_size(path)]
    lines += when('"%bws%" == "none"', [*back, f'echo "{path} is missing."'])
    if file.size:
        lines += when('"%bws%" == "0"', [*back, f'echo "{path} is empty."'])
    if file.program:
        other = [
            f'echo "{path} is another one than in the kit (%bws% bytes): left as it is."',
            "set -v bwleft yes",
        ]
        for known in ("none", "0", str(file.size)):
            other = when(f'not "%bws%" == "{known}"', other)
        lines += other
    return lines


def _folders(path: str) -> list[str]:
    parts = path.strip("\\").split("\\")[:-1]
    return ["\\" + "\\".join(parts[: count + 1]) for count in range(len(parts))]


def _made_folder(path: str) -> list[str]:
    return when(f'not exist "{path}"', [f'mkdir "{path}" >v bwnothing'])
