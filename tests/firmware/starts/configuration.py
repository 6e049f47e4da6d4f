"""A random machine: disks, variables, and what is peculiar about it. All by a seed."""

import struct
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from tests.firmware.programs import Architecture
from tests.firmware.starts.chance import Chance
from tests.firmware.starts.entries import Made, entry
from tests.firmware.starts.volumes import Hardware, hardware

COUNTS = {1: 4, 2: 8, 3: 8, 4: 8, 5: 6, 6: 5, 7: 4, 8: 4}
ONCE = ("BootNext", "OsIndications")  # what a start uses up
_INDICATIONS = {
    "": (b"", 92),
    "OsIndications: setup": (struct.pack("<Q", 1), 3),
    "OsIndications: recovery": (struct.pack("<Q", 0x40), 2.5),
    "OsIndications: nothing that counts": (struct.pack("<Q", 0x24), 1.5),
    "OsIndications of a wrong size": (b"\1\0\0\0", 1),
}


@dataclass(frozen=True)
class Configuration:
    """`variables` are set on top of the store's: fresh, one that a start without disks left (`used`), or one
    that a start of this very machine left (`warm`), whose table is then edited with `edit_seed`. `order` is
    the own part of BootOrder; None leaves it absent."""

    seed: int
    architecture: Architecture
    hardware: Hardware
    variables: dict[str, bytes]
    order: tuple[int, ...] | None
    store: str
    features: frozenset[str] = field(default_factory=frozenset)
    is_usual: bool = False

    def usual(self) -> "Configuration":
        """The same without anything that counts for one start only."""
        rest = {name: value for name, value in self.variables.items() if name not in ONCE}
        return replace(self, variables=rest, is_usual=True)


def configuration(seed: int, architecture: Architecture = Architecture.X64) -> Configuration:
    """The machine of that seed; the same on every computer."""
    chance = Chance(f"{architecture}-{seed}")
    machine = hardware(chance, architecture)
    made = _entries(chance, machine, architecture)
    store = chance.often({"used": 43, "warm": 40, "fresh": 17})
    variables = {_name(chance, number): one.value for number, one in made.items()}
    features = {feature for one in made.values() for feature in one.features}
    if store == "fresh" and "form: a firmware volume that isn't there" in features:
        store = "used"  # only beside entries of the firmware's own can be told which parts it has
    features |= {f"store: {store}", *machine.features}
    features |= {"a name in lower case" for name in variables if name[4:] != name[4:].upper()}
    order = _order(chance, list(made), features)
    _ask(chance, list(made), variables, features)
    return Configuration(seed, architecture, machine, variables, order, store, frozenset(features))


def _entries(chance: Chance, machine: Hardware, architecture: Architecture) -> dict[int, Made]:
    if not machine.homes or chance.happens(0.06):
        return {}
    count = chance.often(COUNTS)
    # The firmware's own take the lowest numbers.
    numbers = chance.sample([*range(5, 0x20), 0xAB, 0x1000, 0xBEEF], count)
    return {number: entry(chance, machine, architecture) for number in numbers}


def _name(chance: Chance, number: int) -> str:
    name = f"Boot{number:04X}"
    return f"Boot{number:04x}" if chance.happens(0.06) else name


def _order(chance: Chance, numbers: list[int], features: set[str]) -> tuple[int, ...] | None:
    """Own entries in the order; some unlisted, missing or named twice."""
    if chance.happens(0.05):
        features.add("no BootOrder")
        return None
    listed = chance.mixed(numbers)
    if len(listed) > 1 and chance.happens(0.25):
        listed = chance.some(listed, 1)
        features.add("an unlisted entry")
    if chance.happens(0.12):
        listed.insert(chance.randint(0, len(listed)), chance.choice([0x77, 0x2001, 0xFFFF]))
        features.add("BootOrder names a missing variable")
    if listed and chance.happens(0.07):
        listed.append(chance.choice(listed))
        features.add("BootOrder names an entry twice")
    if not listed:
        features.add("nothing of one's own in BootOrder")
    return tuple(listed)


def _ask(chance: Chance, numbers: list[int], variables: dict[str, bytes], features: set[str]) -> None:
    """BootNext and OsIndications."""
    if numbers and chance.happens(0.22):
        kind = chance.choice(list(_NEXT))
        variables["BootNext"] = _NEXT[kind](chance.choice(numbers))
        features.add(f"BootNext: {kind}")
    asked = chance.often({name: weight for name, (_, weight) in _INDICATIONS.items()})
    if asked:
        variables["OsIndications"] = _INDICATIONS[asked][0]
        features.add(asked)


def _number(number: int) -> bytes:
    return struct.pack("<H", number)


_NEXT: dict[str, Callable[[int], bytes]] = {
    "an entry": _number,
    "one of the entries": _number,
    "some entry": _number,
    "the firmware's menu": lambda _: _number(0),
    "a missing entry": lambda _: _number(0x3333),
    "empty": lambda _: b"",
    "one byte": lambda number: _number(number)[:1],
    "four bytes": lambda number: _number(number) + b"\0\0",
}
