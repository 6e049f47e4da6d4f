"""What can happen to the machine of two systems: damage to its disks and variables while it is off."""

import os
import struct
from collections.abc import Callable
from dataclasses import dataclass

from tests.firmware import cache, tool
from tests.firmware.disk import BASIC_DATA, ESP, SECTOR
from tests.firmware.firmware import X64
from tests.firmware.programs import program
from tests.firmware.restore_machine import DEFAULT, FERNWICK, QUARRY, SYSTEMS, Dual, System
from tests.firmware.starts.places import PLACES
from tests.firmware.variables import file_on, load_option
from tests.firmware.volume import make_fat

Deed = Callable[[Dual], None]


@dataclass(frozen=True)
class Damage:
    """`is_lost`: whether Fernwick Linux no longer starts by itself or Quarry at all; `full`: entries have
    whole device paths; `entries`: it does nothing but to entries and their order."""

    name: str
    do: Deed
    is_lost: bool = True
    full: bool = False
    entries: bool = False


DAMAGES: dict[str, Damage] = {}


def damage(
    name: str, *, is_lost: bool = True, full: bool = False, entries: bool = False
) -> Callable[[Deed], Deed]:
    """Puts the function into the table."""

    def put(deed: Deed) -> Deed:
        DAMAGES[name] = Damage(name, deed, is_lost, full, entries)
        return deed

    return put


# entries


def _lose_entry(dual: Dual, *systems: System) -> None:
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
    _lose_entry(dual, FERNWICK)


@damage("the other system's entry deleted", is_lost=False, entries=True)
def other_entry_deleted(dual: Dual) -> None:
    _lose_entry(dual, QUARRY)


@damage("both entries deleted", is_lost=False, entries=True)
def entries_deleted(dual: Dual) -> None:
    _lose_entry(dual, *SYSTEMS)


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
    _lose_entry(dual, FERNWICK)
    with dual.variables() as variables:
        for number in range(99):
            size = min(variables.free_bytes() - LEFT, CHUNK)
            if size < 100:
                break
            variables.set(f"Filler{number:02}", bytes(size))


# Bytes: what is left of the store, which Linux takes for full below 5 KiB; the size of one variable.
LEFT, CHUNK = 6_000, 8_000


# files


@damage("loader deleted")
def loader_deleted(dual: Dual) -> None:
    dual.volume(FERNWICK).remove(FERNWICK.loader)


@damage("loader emptied")
def loader_emptied(dual: Dual) -> None:
    dual.volume(FERNWICK).write({FERNWICK.loader: b""})


@damage("loader cut off in the middle")
def loader_cut(dual: Dual) -> None:
    own = program(FERNWICK.name)
    dual.volume(FERNWICK).write({FERNWICK.loader: own[: len(own) // 2]})


@damage("loader replaced by another program, which gives up")
def loader_replaced(dual: Dual) -> None:
    dual.volume(FERNWICK).write({FERNWICK.loader: program("leaver")})


@damage("loader replaced by the other system's")
def loader_is_others(dual: Dual) -> None:
    dual.volume(FERNWICK).write({FERNWICK.loader: program(QUARRY.name)})


@damage("the other system's loader deleted", is_lost=False)
def other_loader_deleted(dual: Dual) -> None:
    dual.volume(QUARRY).remove(QUARRY.loader)


@damage("default file overwritten by the other system", is_lost=False)
def default_taken(dual: Dual) -> None:
    dual.volume(FERNWICK).write({DEFAULT: program(QUARRY.name)})


@damage("default file gone", is_lost=False)
def default_gone(dual: Dual) -> None:
    dual.volume(FERNWICK).remove(DEFAULT)


@damage("loader and default file gone")
def both_files_gone(dual: Dual) -> None:
    loader_deleted(dual)
    default_gone(dual)


@damage("the loader's folder gone")
def folder_gone(dual: Dual) -> None:
    dual.volume(FERNWICK).remove_folder("\\EFI\\fernwick")


@damage("a file where the loader's folder was")
def folder_is_file(dual: Dual) -> None:
    folder_gone(dual)
    dual.volume(FERNWICK).write({"\\EFI\\fernwick": b"lost"})


@damage("boot volume emptied")
def volume_emptied(dual: Dual) -> None:
    dual.volume(FERNWICK).remove_folder("\\EFI")


# volumes, partitions, disks


def _format(dual: Dual, system: System, serial: str) -> None:
    offset, size = system.disk.place(1)
    make_fat(dual.image(system.name).path, size, offset=offset, serial=serial, label="NEW")


def _sfdisk(dual: Dual, system: System, *arguments: str, stdin: str = "") -> None:
    image = dual.image(system.name).path
    tool.run(
        ["sfdisk", "--quiet", "--no-tell-kernel", *arguments[:1], image, *arguments[1:]], stdin=stdin.encode()
    )


def _table(system: System, number: int, guid: str, kind: str = ESP) -> str:
    """sfdisk's words for the disk's table, the boot volume under that number and GUID."""
    start, size = (value // SECTOR for value in system.disk.place(1))
    partition = f"{number} : start={start}, size={size}, type={kind}, uuid={guid}"
    return f"label: gpt\nlabel-id: {system.disk.guid}\n{partition}\n"


NEW_GUID = "deadbeef-0001-4000-8000-000000000009"


@damage("boot volume re-formatted")
def reformatted(dual: Dual) -> None:
    _format(dual, FERNWICK, "BADC0DE1")


@damage("partition re-created, its files kept (new PARTUUID)")
def recreated_with_files(dual: Dual) -> None:
    _sfdisk(dual, FERNWICK, "--part-uuid", "1", NEW_GUID)


@damage("partition re-created and formatted (new PARTUUID)")
def recreated(dual: Dual) -> None:
    recreated_with_files(dual)
    reformatted(dual)


@damage("disk partitioned anew, with the old number, place and PARTUUID; empty")
def disk_anew(dual: Dual) -> None:
    path = dual.image(FERNWICK.name).path
    size = path.stat().st_size
    os.truncate(path, 0)
    os.truncate(path, size)
    table = _table(FERNWICK, 1, FERNWICK.partition).replace(FERNWICK.disk.guid, NEW_GUID)
    _sfdisk(dual, FERNWICK, "--wipe=never", stdin=table)
    reformatted(dual)


@damage("partition's type flipped", is_lost=False)
def type_flipped(dual: Dual) -> None:
    _sfdisk(dual, FERNWICK, "--part-type", "1", BASIC_DATA)


@damage("partition renumbered")
def renumbered(dual: Dual) -> None:
    _sfdisk(dual, FERNWICK, "--wipe=never", stdin=_table(FERNWICK, 2, FERNWICK.partition))


@damage("the partition table's first copy damaged", is_lost=False)
def table_damaged(dual: Dual) -> None:
    with dual.image(FERNWICK.name).path.open("r+b") as file:
        file.seek(SECTOR)
        file.write(bytes(SECTOR))


@damage("a disk on another port", is_lost=False)
def other_port(dual: Dual) -> None:
    dual.places[FERNWICK.name] = next(place for place in PLACES if place.name == "virtio2")


@damage("a disk on another port, whose entry names the port", full=True)
def other_port_full(dual: Dual) -> None:
    other_port(dual)


@damage("both disks on other ports, whose entries name them", full=True)
def other_ports_full(dual: Dual) -> None:
    other_port(dual)
    dual.places[QUARRY.name] = next(place for place in PLACES if place.name == "sata5")


# two at once


@damage("entry and loader both gone")
def entry_and_loader(dual: Dual) -> None:
    entry_deleted(dual)
    loader_deleted(dual)


@damage("both loaders emptied", is_lost=False)
def both_loaders_emptied(dual: Dual) -> None:
    for system in SYSTEMS:
        dual.volume(system).write({system.loader: b""})


@damage("re-formatted, and the order turned")
def reformatted_and_turned(dual: Dual) -> None:
    reformatted(dual)
    order_turned(dual)


@damage("the other's boot volume emptied, and the entry deleted")
def emptied_and_deleted(dual: Dual) -> None:
    dual.volume(QUARRY).remove_folder("\\EFI")
    entry_deleted(dual)


@damage("loader and default file the other system's, and its entry first")
def taken_over(dual: Dual) -> None:
    loader_is_others(dual)
    default_taken(dual)
    order_turned(dual)


@damage("both boot volumes emptied, a fresh store")
def everything(dual: Dual) -> None:
    for system in SYSTEMS:
        dual.volume(system).remove_folder("\\EFI")
    fresh_store(dual)
