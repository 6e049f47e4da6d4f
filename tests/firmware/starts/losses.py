"""One thing lost of a machine that is off, for real; and the same done to the state of before.

A loss is a dictionary, as it stands in the recordings: `kind`, and what of it is meant.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bootwatch.judge import altered
from bootwatch.judge.startup import simulate
from bootwatch.model.snapshot import State
from bootwatch.model.volume import Volume as SeenVolume
from tests.firmware import volume
from tests.firmware.image import Image
from tests.firmware.starts.chance import Chance
from tests.firmware.starts.trial import Trial
from tests.firmware.starts.volumes import default_file
from tests.firmware.variables import Variables

Loss = dict[str, Any]
_HEAD = 64 << 10  # bytes of a file system without which nothing finds it


@dataclass(frozen=True)
class Victim:
    """A machine, what bootwatch saw of it, and the file that is expected to run on it."""

    trial: Trial
    state: State
    chance: Chance

    @property
    def start(self) -> tuple[str, str, str | None] | None:
        """Volume, file and entry of the next start; None where it is none of a system."""
        following = simulate(self.state).next_start
        if not following.volume or not following.file:
            return None
        return following.volume, following.file, following.entry

    def place(self, identity: str) -> tuple[Image, SeenVolume]:
        """The volume's image and what was seen of it."""
        found = self.state.volumes[identity]
        of_disk = self.state.disks[found.disk].address
        place = next(place for place in self.trial.images if self.trial.address(place) == of_disk)
        return self.trial.images[place], found

    def volume(self, identity: str) -> volume.Volume:
        image, found = self.place(identity)
        return volume.Volume(image.path, found.start)

    def lose_volume(self, identity: str) -> None:
        """Its file system; the partition stays."""
        image, found = self.place(identity)
        with Path(image.path).open("r+b") as file:
            file.seek(found.start)
            file.write(bytes(_HEAD))

    def lose_disks(self, addresses: set[str]) -> None:
        """Those at these addresses."""
        trial = self.trial
        trial.images = {
            place: image for place, image in trial.images.items() if trial.address(place) not in addresses
        }
        trial.machine.drives = tuple(place.drive(image) for place, image in trial.images.items())


def choose(kind: str, victim: Victim) -> Loss | None:
    """One loss of that kind that touches the next start; None where there is none such."""
    start = victim.start
    if start is None:
        return None
    return _CHOICES[kind](victim, *start)


def happen(victim: Victim, loss: Loss) -> None:
    """It happens to the machine."""
    _DEEDS[loss["kind"]](victim, loss)


def foreseen(state: State, loss: Loss) -> State:
    """The state as bootwatch's rehearsal would have it."""
    return _REHEARSED[loss["kind"]](state, loss)


# what is lost

Choice = Callable[[Victim, str, str, str | None], Loss | None]


def _entry(_: Victim, __: str, ___: str, entry: str | None) -> Loss | None:
    return {"kind": "entry", "entry": entry} if entry else None


def _file(victim: Victim, identity: str, path: str, _: str | None) -> Loss:
    how = victim.chance.choice(["removed", "emptied"])
    return {"kind": "file", "volume": identity, "path": path, "how": how}


def _folder(victim: Victim, identity: str, path: str, _: str | None) -> Loss | None:
    above = path.split("\\")[1:-1]
    if not above:
        return None
    depth = victim.chance.randint(1, len(above))
    return {"kind": "folder", "volume": identity, "path": "\\" + "\\".join(above[:depth])}


def _volume(_: Victim, identity: str, __: str, ___: str | None) -> Loss:
    return {"kind": "volume", "volume": identity}


def _disk(victim: Victim, identity: str, _: str, __: str | None) -> Loss:
    return {"kind": "disk", "disk": victim.state.volumes[identity].disk}


def _order_first(victim: Victim, _: str, __: str, entry: str | None) -> Loss | None:
    routes = simulate(victim.state).routes
    others = [one.entry for one in routes if one.starts and one.volume and one.entry not in (None, entry)]
    return {"kind": "order-first", "entry": victim.chance.choice(others)} if others else None


def _default_file(victim: Victim, _: str, __: str, ___: str | None) -> Loss | None:
    """Some loader of a volume over the volume's default file."""
    default = default_file(victim.trial.configuration.architecture)
    found = [
        (identity, path)
        for identity, one in victim.state.volumes.items()
        for path, file in one.files.items()
        if file.program and path != default and not ((held := one.file(default)) and held.is_folder)
    ]
    if not found:
        return None
    identity, path = victim.chance.choice(found)
    return {"kind": "default-file", "volume": identity, "from": path, "path": default}


_CHOICES: dict[str, Choice] = {
    "entry": _entry,
    "file": _file,
    "folder": _folder,
    "volume": _volume,
    "disk": _disk,
    "boot-order": lambda *_: {"kind": "boot-order"},
    "all-entries": lambda *_: {"kind": "all-entries"},
    "order-first": _order_first,
    "default-file": _default_file,
}
KINDS = tuple(_CHOICES)


# how it happens


def _with_variables(change: Callable[[Variables, Loss], None]) -> Callable[[Victim, Loss], None]:
    def happen(victim: Victim, loss: Loss) -> None:
        with victim.trial.machine.variables() as variables:
            change(variables, loss)

    return happen


def _lose_entry(variables: Variables, loss: Loss) -> None:
    variables.delete(loss["entry"])
    variables.order = [number for number in variables.order if number != _number(loss)]


def _lose_order(variables: Variables, _: Loss) -> None:
    if "BootOrder" in variables.names():
        variables.delete("BootOrder")


def _lose_entries(variables: Variables, _: Loss) -> None:
    for number in variables.numbers():
        variables.delete(f"Boot{number:04X}")
    _lose_order(variables, _)


def _put_first(variables: Variables, loss: Loss) -> None:
    number = _number(loss)
    variables.order = [number, *(one for one in variables.order if one != number)]


def _lose_file(victim: Victim, loss: Loss) -> None:
    held = victim.volume(loss["volume"])
    if loss["how"] == "emptied":
        held.write({loss["path"]: b""})
    else:
        held.remove(loss["path"])


def _lose_volume(victim: Victim, loss: Loss) -> None:
    victim.lose_volume(loss["volume"])


def _lose_disk(victim: Victim, loss: Loss) -> None:
    victim.lose_disks({victim.state.disks[loss["disk"]].address})


def _copy_over(victim: Victim, loss: Loss) -> None:
    held = victim.volume(loss["volume"])
    held.write({loss["path"]: held.read(loss["from"])})


_DEEDS: dict[str, Callable[[Victim, Loss], None]] = {
    "entry": _with_variables(_lose_entry),
    "file": _lose_file,
    "folder": lambda victim, loss: victim.volume(loss["volume"]).remove_folder(loss["path"]),
    "volume": _lose_volume,
    "disk": _lose_disk,
    "boot-order": _with_variables(_lose_order),
    "all-entries": _with_variables(_lose_entries),
    "order-first": _with_variables(_put_first),
    "default-file": _copy_over,
}


def _number(loss: Loss) -> int:
    return int(loss["entry"][4:], 16)


# the same, rehearsed


def _copied(state: State, loss: Loss) -> State:
    file = state.volumes[loss["volume"]].files[loss["from"]]
    return altered.with_copy(state, loss["volume"], file, loss["path"])


_REHEARSED: dict[str, Callable[[State, Loss], State]] = {
    "entry": lambda state, loss: altered.without_entry(state, _number(loss)),
    "file": lambda state, loss: altered.without_file(state, loss["volume"], loss["path"]),
    "folder": lambda state, loss: altered.without_folder(state, loss["volume"], loss["path"]),
    "volume": lambda state, loss: altered.without_volume(state, loss["volume"]),
    "disk": lambda state, loss: altered.without_disk(state, loss["disk"]),
    "boot-order": lambda state, _: altered.without_order(state),
    "all-entries": lambda state, _: altered.without_entries(state),
    "order-first": lambda state, loss: altered.with_first(state, _number(loss)),
    "default-file": _copied,
}
