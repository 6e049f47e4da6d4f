"""Damage to entries, their order, and the store that they lie in."""

import struct

from tests.firmware import cache
from tests.firmware.damage import damage
from tests.firmware.firmware import X64
from tests.firmware.restore_machine import FERNWICK, QUARRY, SYSTEMS, Dual, System
from tests.firmware.variables import file_on, load_option


def lose_entry(dual: Dual, *systems: System) -> None:
    with dual.variables() as variables:
        for system in systems:
            variables.delete(f"Boot{system.number:04X}")
        gone = {system.number for system in systems}
        variables.order = [number for number in variables.order if number not in gone]


def _set_entry(dual: Dual, number: int, option: bytes, first: bool = False) -> None:
    with dual.variables() as variables:
        variables.set(f"Boot{number:04X}", option)
        if first:
            variables.order = [number, *(one for one in variables.order if one != number)]


@damage("the usual system's entry deleted", entries=True)
def entry_deleted(dual: Dual) -> None:
    lose_entry(dual, FERNWICK)


@damage("the other system's entry deleted", is_lost=False, entries=True)
def other_entry_deleted(dual: Dual) -> None:
    lose_entry(dual, QUARRY)


@damage("both entries deleted", is_lost=False, entries=True)
def entries_deleted(dual: Dual) -> None:
    lose_entry(dual, *SYSTEMS)


@damage("a fresh store: the firmware has made its own entries anew", is_lost=False, entries=True)
def fresh_store(dual: Dual) -> None:
    cache.copy(X64.variables, dual.folder / "variables.raw")
    dual.start()


@damage("order turned", entries=True)
def order_turned(dual: Dual) -> None:
    with dual.variables() as variables:
        rest = [number for number in variables.order if number > 1]
        variables.order = [QUARRY.number, FERNWICK.number, *rest]


@damage("the firmware's own entries put first", entries=True)
def own_first(dual: Dual) -> None:
    with dual.variables() as variables:
        rest = [number for number in variables.order if number > 1]
        variables.order = [*reversed(rest), QUARRY.number, FERNWICK.number]


@damage("entry no longer in the order", entries=True)
def entry_unlisted(dual: Dual) -> None:
    with dual.variables() as variables:
        variables.order = [number for number in variables.order if number != FERNWICK.number]


@damage("no boot order at all", is_lost=False, entries=True)
def order_gone(dual: Dual) -> None:
    with dual.variables() as variables:
        variables.delete("BootOrder")


@damage("an order of entries that aren't there", is_lost=False, entries=True)
def order_of_nothing(dual: Dual) -> None:
    with dual.variables() as variables:
        variables.order = [0x0040, 0x0041]


@damage("entry switched off", entries=True)
def entry_inactive(dual: Dual) -> None:
    _set_entry(dual, FERNWICK.number, FERNWICK.option(attributes=0))


@damage("both entries switched off", is_lost=False, entries=True)
def entries_inactive(dual: Dual) -> None:
    for system in SYSTEMS:
        _set_entry(dual, system.number, system.option(attributes=0))


@damage("entry leads to the other system's loader", entries=True)
def entry_retargeted(dual: Dual) -> None:
    path = file_on(QUARRY.disk, 1, QUARRY.loader)
    _set_entry(dual, FERNWICK.number, load_option(FERNWICK.label, path))


@damage("entry leads to a file that isn't there", entries=True)
def entry_to_nowhere(dual: Dual) -> None:
    path = file_on(FERNWICK.disk, 1, "\\EFI\\fernwick\\former.efi")
    _set_entry(dual, FERNWICK.number, load_option(FERNWICK.label, path))


@damage("what the entry hands to its loader is another", entries=True, is_lost=False)
def entry_data_changed(dual: Dual) -> None:
    _set_entry(dual, QUARRY.number, QUARRY.option(data=b"???"))


@damage("the two entries' numbers changed places", entries=True)
def numbers_swapped(dual: Dual) -> None:
    _set_entry(dual, FERNWICK.number, QUARRY.option())
    _set_entry(dual, QUARRY.number, FERNWICK.option())


def _again() -> bytes:
    """What the other system's installer makes besides."""
    return load_option("Quarry again", file_on(QUARRY.disk, 1, QUARRY.loader), data=b"again")


@damage("entry's number taken by another", entries=True)
def number_taken(dual: Dual) -> None:
    _set_entry(dual, FERNWICK.number, _again())


@damage("entry's number taken, the lowest free one is asked for by a key", entries=True)
def number_taken_keys(dual: Dual) -> None:
    number_taken(dual)
    with dual.variables() as variables:
        free = next(number for number in range(9) if number not in variables.numbers())
        variables.set("Key0000", struct.pack("<IIHHH", 1 << 30, 0, free, 0x17, 0))


@damage("a new entry in front starts the other system", entries=True)
def new_entry_first(dual: Dual) -> None:
    _set_entry(dual, 9, _again(), first=True)


@damage("BootNext left on the other system", entries=True)
def next_left(dual: Dual) -> None:
    with dual.variables() as variables:
        variables.set("BootNext", struct.pack("<H", QUARRY.number))


@damage("the store nearly full, and an entry deleted", entries=True)
def store_nearly_full(dual: Dual) -> None:
    lose_entry(dual, FERNWICK)
    with dual.variables() as variables:
        for number in range(99):
            size = min(variables.free_bytes() - LEFT, CHUNK)
            if size < 100:
                break
            variables.set(f"Filler{number:02}", bytes(size))


# Bytes: what is left of the store, which Linux takes for full below 5 KiB; the size of one variable.
LEFT, CHUNK = 6_000, 8_000


@damage("entry cut short in the middle of its path", entries=True)
def entry_cut(dual: Dual) -> None:
    _set_entry(dual, FERNWICK.number, FERNWICK.option()[:60])


@damage("the order cut off in the middle of a number", entries=True)
def order_cut(dual: Dual) -> None:
    with dual.variables() as variables:
        variables.set("BootOrder", struct.pack("<HB", QUARRY.number, 0))
