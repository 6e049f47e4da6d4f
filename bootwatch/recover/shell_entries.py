"""The entries and the boot order in startup.nsh of a recovery kit (see shell.py)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from bootwatch.judge.entries import Entry, entry_name, read_entries, read_order, variable_of
from bootwatch.judge.pairs import plain
from bootwatch.model.snapshot import State
from bootwatch.model.variable import GLOBAL
from bootwatch.model.volume import Volume
from bootwatch.recover.shell_text import (
    LONGEST_LINE,
    NOT_FOUND,
    can_name,
    each,
    named,
    remarks,
    said,
    shown,
    when,
)

_ALL = f"-guid {GLOBAL} -nv -bs -rt"
_LOW = " ".join(f"{number:02X}" for number in range(0x20))
_SPARE = " ".join(f"{number:02X}" for number in range(0x40, 0x50))
_MADE = 0x50  # numbers of entries that bcfg makes, one for each entry of the baseline
_PLACES = " ".join(f"{number:X}" for number in range(0x20))
_MOST_ENTRIES = 16


@dataclass(frozen=True)
class Wanted:
    """An entry of the baseline that may be brought back; ``place`` tells its variables in the script apart,
    ``volume`` is the number of the one that it leads to."""

    place: int
    entry: Entry
    data: bytes
    volume: int | None

    @property
    def hex(self) -> str:
        return self.data.hex().upper()

    @property
    def off(self) -> str:
        """The same, switched off (UEFI 2.10 §3.1.3: ACTIVE is the lowest bit of the first byte)."""
        return bytes((self.data[0] & 0xFE, *self.data[1:])).hex().upper()

    @property
    def title(self) -> str:
        return f"{self.entry.name} ({shown(self.entry.label)})"


def restorable(state: State) -> Iterator[Entry]:
    """The entries that the script and the sheet are about: listed ones that lead to a file on a volume of the
    baseline, those apart that firmware makes by itself; in the boot order."""
    entries = read_entries(state)
    for number in dict.fromkeys(read_order(state)):
        entry = entries.get(number)
        if (
            entry
            and entry.active
            and entry.file
            and not entry.is_firmware_made
            and entry.volume in by_plain(state)
        ):
            yield entry


def by_plain(state: State) -> dict[str, Volume]:
    """Volumes by what entries call them; of clones the first."""
    found: dict[str, Volume] = {}
    for volume in state.volumes.values():
        found.setdefault(plain(volume.identity), volume)
    return found


def wanted(state: State, volumes: list[Volume]) -> tuple[Wanted, ...]:
    """The entries that the script is about; ``volumes`` as the script numbers them."""
    number_of = {plain(volume.identity): number for number, volume in enumerate(volumes)}
    found: list[Wanted] = []
    for entry in restorable(state):
        data = state.variables[variable_of(entry.number)].data
        if len(data) * 2 < LONGEST_LINE and len(found) < _MOST_ENTRIES:
            found.append(Wanted(len(found), entry, data, number_of.get(entry.volume or "")))
    return tuple(found)


@dataclass(frozen=True)
class Entries:
    """Lines of the script. Of each wanted entry bwe says which variable holds it, bwf which one holds it
    switched off, bwn its number as the boot order spells it, bwl its place there, bwd what is to be done."""

    wanted: tuple[Wanted, ...]
    order: tuple[int, ...]

    @property
    def _first(self) -> tuple[Wanted, ...]:
        """The one that the baseline's boot order begins with, if it is one of these."""
        return tuple(one for one in self.wanted[:1] if self.order[:1] == (one.entry.number,))

    def look(self) -> Iterator[str]:
        yield from remarks("Where each entry is: under its own number, under another, or nowhere.")
        yield "set -v bwall no"
        for one in self.wanted:
            yield f"set -v bwe{one.place} none"
            yield f"set -v bwf{one.place} none"
            yield f"set -v bwn{one.place} none"
            yield from _content_of(one.entry.name)
            yield from _compared(one, one.entry.name, _little(one.entry.number))
            yield from when(f'"%bwe{one.place}%" == "none"', ["set -v bwall yes"])
        look = _content_of("Boot00%n")
        for one in self.wanted:
            look += when(f'"%bwe{one.place}%" == "none"', _compared(one, "Boot00%n", "%n00"))
        yield from when('"%bwall%" == "yes"', each("n", f"in {_LOW} {_SPARE}", look))
        yield "set -v bwo none"
        yield "dmpstore BootOrder -sfo | parse VariableInfo 6 >v bwo"
        yield from when('"%bwo%" == "none"', _really_none())
        for one in self.wanted:
            yield from self._state_of(one)
        yield from self._look_at_order()

    def _state_of(self, one: Wanted) -> Iterator[str]:
        """Says what is wrong with an entry. bwd: what is to be done with it."""
        key = f"bwd{one.place}"
        yield f"set -v {key} fine"
        missing = [f"set -v {key} make", "set -v bwany yes", f'echo "The entry {one.title} is missing."']
        off = [f"set -v {key} switch", "set -v bwany yes", f'echo "The entry {one.title} is switched off."']
        yield from when(f'"%bwe{one.place}%" == "none"', when(f'"%bwf{one.place}%" == "none"', missing, off))
        if one.volume is not None and can_name(one.entry.file or ""):
            lines = [f"set -v {key} path", f"set -v bwn{one.place} none", "set -v bwany yes"]
            lines += [f'echo "The entry {one.title} leads to a partition that is another one now."']
            found = when(f'not "%bwv{one.volume}%" == "none"', lines)
            yield from when(f'"%bwi{one.volume}%" == "no"', found)

    def _look_at_order(self) -> Iterator[str]:
        """bwl: at which place the order lists it; all of it only where the order isn't the baseline's."""
        own = "".join(_little(number) for number in self.order)
        looks: list[str] = ["setvar bwo%bwo% -guid %bwg% -bs =01", "set -v bwp bwo"]
        inner: list[str] = []
        for one in self.wanted:
            yield f"set -v bwl{one.place} none"
            ask = [
                "set -v bwr none",
                f"dmpstore %bwp%%bwn{one.place}%* -guid %bwg% -sfo | parse VariableInfo 6 >v bwr",
            ]
            ask += when('"%bwr%" == "01"', [f"set -v bwl{one.place} %i"])
            inner += when(f'"%bwl{one.place}%" == "none"', when(f'not "%bwn{one.place}%" == "none"', ask))
        inner += ["set -v bwp %bwp%????"]
        looks += [*each("i", f"in {_PLACES}", inner), "setvar bwo%bwo% -guid %bwg% ="]
        yield from when(
            f'/i not "%bwo%" == "{own}"', looks, [f"set -v bwl{one.place} same" for one in self.wanted]
        )
        for one in self.wanted:
            yield from when(f'"%bwd{one.place}%" == "path"', [f"set -v bwl{one.place} none"])
            told = [f'echo "The boot order doesn\'t list {one.title}."', "set -v bwany yes"]
            unlisted = when(f'"%bwd{one.place}%" == "fine"', told)
            yield from when(f'"%bwl{one.place}%" == "none"', unlisted)
        yield "set -v bwfirst no"
        for one in self._first:
            late = [
                f'echo "{one.title} is no longer the first in the boot order."',
                "set -v bwfirst yes",
                "set -v bwany yes",
            ]
            for fine in ("none", "same", "0"):
                late = when(f'not "%bwl{one.place}%" == "{fine}"', late)
            yield from late

    def write_entry(self, one: Wanted) -> Iterator[str]:
        number = f"bwn{one.place}"
        switch = [
            f"setvar %bwf{one.place}% {_ALL} ={one.hex}",
            *_content_of(f"%bwf{one.place}%"),
            *_read_back(one, f"%bwf{one.place}%"),
        ]
        yield from when(f'"%bwd{one.place}%" == "switch"', switch)
        own = entry_name(one.entry.number)
        make = ["set -v bwx none", *_content_of(own)]
        make += when(
            '"%bwc%" == "none"', [f"set -v bwx {own}", f"set -v {number} {_little(one.entry.number)}"]
        )
        free = when('"%bwc%" == "none"', ["set -v bwx Boot00%n", f"set -v {number} %n00"])
        spare = when('"%bwx%" == "none"', [*_content_of("Boot00%n"), *free])
        make += when('"%bwx%" == "none"', each("n", f"in {_SPARE}", spare))
        write = [f"setvar %bwx% {_ALL} ={one.hex}", *_content_of("%bwx%")]
        write += _read_back(one, "%bwx%")
        make += when(
            '"%bwx%" == "none"',
            [f'echo "{one.title}: no number is free."', f"set -v bwd{one.place} failed"],
            write,
        )
        yield from when(f'"%bwd{one.place}%" == "make"', make)
        if one.volume is not None and can_name(one.entry.file or ""):
            yield from when(f'"%bwd{one.place}%" == "path"', self._by_bcfg(one))

    def _by_bcfg(self, one: Wanted) -> list[str]:
        """An entry to the file where it is now, under a number of its own."""
        number = _MADE + one.place
        listed = "".join(_little(other) for other in range(number))
        add = [f"setvar BootOrder {_ALL} ={listed}"]
        file, label = f"%bwv{one.volume}%{one.entry.file}", named(one.entry.label) or "system"
        add += [f'bcfg boot addp 0 "{file}" "{label}" >v bwnothing']
        restored = when('"%bwo%" == "none"', ["setvar BootOrder ="], [f"setvar BootOrder {_ALL} =%bwo%"])
        add += [*restored, *_content_of(entry_name(number))]
        bad = [
            f'echo "{one.title}: NOT MADE. Choose its disk in the firmware\'s own menu."',
            f"set -v bwd{one.place} failed",
        ]
        good = [
            f'echo "{one.title}: made anew as {entry_name(number)}"',
            f"set -v bwn{one.place} {_little(number)}",
        ]
        lines = [*_content_of(entry_name(number))]
        there = [
            f'echo "{one.title}: {entry_name(number)} is there already and is put into the boot order"',
            f"set -v bwn{one.place} {_little(number)}",
        ]
        return [*lines, *when('"%bwc%" == "none"', [*add, *when('"%bwc%" == "none"', bad, good)], there)]

    def write_order(self) -> Iterator[str]:
        """What came first in front, the rest at the end; nothing is dropped."""
        yield from remarks("The boot order: nothing is dropped from it.")
        yield "set -v bwnew %bwo%"
        yield "set -v bwseen no"
        for one in self.wanted:
            yield f"set -v bwq{one.place} no"
            yield from when(f'not "%bwl{one.place}%" == "none"', ["set -v bwseen yes"], self._unlisted(one))
        for one in reversed(self.wanted):
            alone = when(
                '"%bwnew%" == "none"',
                [f"set -v bwnew %bwn{one.place}%"],
                [f"set -v bwnew %bwn{one.place}%%bwnew%"],
            )
            yield from when(f'"%bwq{one.place}%" == "yes"', alone)
        write = [f"setvar BootOrder {_ALL} =%bwnew%", *_content_of("BootOrder")]
        write += when(
            '/i "%bwc%" == "%bwnew%"',
            ['echo "The boot order: written and read back"'],
            ['echo "The boot order: THE FIRMWARE DID NOT TAKE IT"'],
        )
        yield from when('not "%bwnew%" == "%bwo%"', write)
        for one in self._first:
            move = [
                f"bcfg boot mv %bwl{one.place}% 0 >v bwnothing",
                f'echo "{one.title}: put first in the boot order"',
            ]
            yield from when('"%bwfirst%" == "yes"', move)

    def _unlisted(self, one: Wanted) -> list[str]:
        at_end = [f"set -v bwnew %bwnew%%bwn{one.place}%"]
        place = when('"%bwseen%" == "yes"', at_end, [f"set -v bwq{one.place} yes"])
        return when(f'not "%bwd{one.place}%" == "failed"', place)


def _really_none() -> list[str]:
    """Ends where there is a boot order that isn't told: what is in it would be dropped."""
    end = [
        *said("The boot order can't be read. Nothing was written. Take another way: see the sheet."),
        "exit /b 3",
    ]
    return ["dmpstore BootOrder >v bwnothing", *when(f'not "%lasterror%" == "{NOT_FOUND}"', end)]


def _little(number: int) -> str:
    return number.to_bytes(2, "little").hex().upper()


def _content_of(variable: str) -> list[str]:
    """bwc: a variable's content in hex digits, "none" where it isn't there."""
    return ["set -v bwc none", f"dmpstore {variable} -sfo | parse VariableInfo 6 >v bwc"]


def _compared(one: Wanted, name: str, number: str) -> list[str]:
    lines = when(
        f'/i "%bwc%" == "{one.hex}"', [f"set -v bwe{one.place} {name}", f"set -v bwn{one.place} {number}"]
    )
    return lines + when(
        f'/i "%bwc%" == "{one.off}"', [f"set -v bwf{one.place} {name}", f"set -v bwn{one.place} {number}"]
    )


def _read_back(one: Wanted, variable: str) -> list[str]:
    good = [f'echo "{one.title}: written as {variable} and read back"']
    bad = [f'echo "{one.title}: THE FIRMWARE DID NOT TAKE IT"', f"set -v bwd{one.place} failed"]
    return when(f'/i "%bwc%" == "{one.hex}"', good, bad)
