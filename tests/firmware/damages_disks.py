"""Damage to volumes, partitions and disks."""

import os

from tests.firmware import tool
from tests.firmware.damage import damage
from tests.firmware.disk import BASIC_DATA, ESP, SECTOR
from tests.firmware.restore_machine import FERNWICK, QUARRY, SYSTEMS, Dual, System
from tests.firmware.starts.places import PLACES
from tests.firmware.volume import make_fat


def _format(dual: Dual, system: System, serial: str, bits: int = 32) -> None:
    offset, size = system.disk.place(1)
    make_fat(dual.image(system.name).path, size, offset=offset, serial=serial, label="NEW", bits=bits)


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
    _empty(dual, FERNWICK)
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


@damage("the two disks changed places, whose entries name them", full=True)
def disks_swapped(dual: Dual) -> None:
    former = dict(dual.places)
    dual.places[FERNWICK.name], dual.places[QUARRY.name] = former[QUARRY.name], former[FERNWICK.name]


@damage("both boot volumes re-formatted, in another kind of FAT")
def both_reformatted(dual: Dual) -> None:
    for system in SYSTEMS:
        _format(dual, system, "BADC0DE2", bits=16)


def _empty(dual: Dual, system: System) -> None:
    """Nothing but zeros on the whole disk."""
    path = dual.image(system.name).path
    size = path.stat().st_size
    os.truncate(path, 0)
    os.truncate(path, size)


def _blank(dual: Dual, system: System, offset: int, size: int) -> None:
    with dual.image(system.name).path.open("r+b") as file:
        file.seek(offset)
        file.write(bytes(size))


@damage("boot volume overwritten at its beginning: no file system any more")
def volume_overwritten(dual: Dual) -> None:
    _blank(dual, FERNWICK, FERNWICK.disk.place(1)[0], 64 << 10)


@damage("partition table gone, both copies; all else is there")
def table_gone(dual: Dual) -> None:
    size = dual.image(FERNWICK.name).path.stat().st_size
    _blank(dual, FERNWICK, 0, 34 * SECTOR)
    _blank(dual, FERNWICK, size - 33 * SECTOR, 33 * SECTOR)


@damage("disk replaced by an empty one")
def disk_empty(dual: Dual) -> None:
    _empty(dual, FERNWICK)
