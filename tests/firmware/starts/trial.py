"""One random machine: made, looked at by bootwatch while it is off, and started."""

import struct
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from bootwatch.model.snapshot import Snapshot
from tests.firmware import cache, firmware
from tests.firmware.firmware import Firmware
from tests.firmware.image import Format, Image
from tests.firmware.machine import Machine
from tests.firmware.starts.chance import Chance
from tests.firmware.starts.configuration import ONCE, Configuration
from tests.firmware.starts.entries import AUTOMATIC
from tests.firmware.starts.places import Place, address
from tests.firmware.starts.root import look
from tests.firmware.starts.start import Result, start
from tests.firmware.variables import Variables

FIRMWARES = {one.architecture: one for one in (firmware.X64, firmware.IA32, firmware.AA64)}


@dataclass
class Trial:
    """A machine that is off, as the configuration says."""

    configuration: Configuration
    folder: Path
    images: dict[Place, Image]
    machine: Machine
    features: set[str]

    @classmethod
    def of(cls, configuration: Configuration, folder: Path) -> "Trial":
        """Makes disks and variables in the folder; starts the machine once where its store is to be warm."""
        images = write_disks(configuration, folder)
        of = FIRMWARES[configuration.architecture]
        store = None if configuration.store == "fresh" else _used_store(of).copied(folder / "variables.raw")
        drives = tuple(place.drive(image) for place, image in images.items())
        machine = Machine(folder, drives, of, given=store)
        trial = cls(configuration, folder, images, machine, set(configuration.features))
        trial._fill()
        return trial

    def _fill(self) -> None:
        chance = Chance(f"edit-{self.configuration.architecture}-{self.configuration.seed}")
        early = {name: value for name, value in self.configuration.variables.items() if name not in ONCE}
        with self.machine.variables() as variables:
            _list_own(chance, variables, self.configuration, self.features)
            for name, value in early.items():
                variables.set(name, value)
        if self.configuration.store == "warm":
            start(self.machine)
        with self.machine.variables() as variables:
            if self.configuration.store == "warm":
                _edit(chance, variables, self.features)
            for name in set(self.configuration.variables) - set(early):
                variables.set(name, self.configuration.variables[name])
            if chance.happens(0.04) and "BootOrder" in variables.names():
                variables.set("BootOrder", variables.get("BootOrder") + b"\0")
                self.features.add("BootOrder of an odd length")
            if self.configuration.is_usual:
                _make_usual(variables)

    def address(self, place: Place) -> str:
        """What the kernel calls the place."""
        return address(place, self.configuration.architecture)

    def look(self, name: str = "root") -> Snapshot:
        """What bootwatch would see."""
        with self.machine.variables() as variables:
            seen = variables.efivars()
        return look(self.folder / name, self.images, seen, self.configuration.architecture)

    def start(self) -> Result:
        """Once, by the real firmware."""
        return start(self.machine)


def write_disks(configuration: Configuration, folder: Path) -> dict[Place, Image]:
    """The images of its disks."""
    machine = configuration.hardware
    return {
        place: disk.write(folder / f"{place.name}.raw")
        for disk, place in zip(machine.disks, machine.places, strict=True)
    }


@dataclass(frozen=True)
class _Store:
    path: Path

    def copied(self, path: Path) -> Image:
        cache.copy(self.path, path)
        return Image(path, Format.RAW)


def _used_store(of: Firmware) -> _Store:
    """A store that a start without any disk left: with what the firmware makes for itself."""
    recipe: list[str | bytes] = [str(of.code), of.code.read_bytes()]

    def build(folder: Path) -> None:
        start(Machine(folder, (), of))

    return _Store(cache.cached("used", recipe, build) / "variables.raw")


def _make_usual(variables: Variables) -> None:
    """Without what edits asked for once only, and with an order that can be changed."""
    for name in {*ONCE} & {*variables.names()}:
        variables.delete(name)
    if "BootOrder" in variables.names():
        order = variables.get("BootOrder")
        variables.set("BootOrder", order[: len(order) // 2 * 2])


def _list_own(chance: Chance, variables: Variables, configuration: Configuration, features: set[str]) -> None:
    """Own entries in BootOrder, mostly before the firmware's."""
    if configuration.order is None:
        if "BootOrder" in variables.names():
            variables.delete("BootOrder")
        return
    own, firmwares = list(configuration.order), variables.order
    if firmwares and chance.happens(0.1):
        own.insert(chance.randint(0, len(own)), firmwares.pop())
        features.add("the shell among one's own")
    elif firmwares and chance.happens(0.08):
        firmwares = []
        features.add("the firmware's own unlisted")
    variables.order = own + firmwares


def _edit(chance: Chance, variables: Variables, features: set[str]) -> None:
    """What a person or a system does to the table that the firmware left."""
    for change in chance.sample(list(_EDITS), chance.randint(0, 2)):
        _EDITS[change](chance, variables)
        features.add(f"edited: {change}")


def _automatic(variables: Variables) -> list[int]:
    """The options that the firmware made for disks."""
    return [number for number in variables.numbers() if _value(variables, number).endswith(AUTOMATIC)]


def _value(variables: Variables, number: int) -> bytes:
    return variables.get(f"Boot{number:04X}")


def _put_first(chance: Chance, variables: Variables) -> None:
    found = _automatic(variables)
    if found:
        first = chance.choice(found)
        variables.order = [first, *(number for number in variables.order if number != first)]


def _mix(chance: Chance, variables: Variables) -> None:
    variables.order = chance.mixed(variables.order)


def _switch_off(chance: Chance, variables: Variables) -> None:
    found = _automatic(variables)
    if found:
        number = chance.choice(found)
        (attributes,) = struct.unpack_from("<I", _value(variables, number))
        variables.set(f"Boot{number:04X}", struct.pack("<I", attributes ^ 1) + _value(variables, number)[4:])


def _unlist(chance: Chance, variables: Variables) -> None:
    if variables.order:
        gone = chance.choice(variables.order)
        variables.order = [number for number in variables.order if number != gone]


def _delete(chance: Chance, variables: Variables) -> None:
    found = variables.numbers()
    if found:
        variables.delete(f"Boot{chance.choice(found):04X}")


def _ask_next(chance: Chance, variables: Variables) -> None:
    found = _automatic(variables) or variables.numbers()
    if found:
        variables.set("BootNext", struct.pack("<H", chance.choice(found)))


_EDITS: dict[str, Callable[[Chance, Variables], None]] = {
    "a disk's option first": _put_first,
    "mixed": _mix,
    "a disk's option switched off": _switch_off,
    "one unlisted": _unlist,
    "one deleted": _delete,
    "BootNext to a disk's option": _ask_next,
}
