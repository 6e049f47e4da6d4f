"""A machine as situations describe it, and its state at any moment."""

from __future__ import annotations

import struct
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

from bootwatch.judge.entries import MARK_OF_FIRMWARE
from bootwatch.model.disk import ESP, XBOOTLDR, Content, Disk, Partition
from bootwatch.model.snapshot import State
from bootwatch.model.variable import IMAGE_SECURITY, Variable, key
from bootwatch.model.volume import Volume
from tests.judge import paths, states
from tests.situations.contents import Shelf, size
from tests.situations.written import read

MACHINES = Path(__file__).with_name("machines")
BLOCK = 512
_TYPES = {
    "esp": ESP,
    "extended boot": XBOOTLDR,
    "data": "ebd0a0a2-b9e5-4433-87c0-68b6b72699c7",
    "linux": "0fc63daf-8483-4772-8e79-3d69d8477de4",
}
_KEYS = {"PK": key("PK"), "KEK": key("KEK")} | {n: key(n, IMAGE_SECURITY) for n in ("db", "dbx")}


class Machine:
    """One machine; `Machine.load` by the name of its file. Everything about it may be changed in place.

    ``disks`` are those of the house, plugged in or not, each with its partitions in order; ``shelves`` the
    files by the partition's name; ``entries`` by the name that the situation calls them by; ``order`` is of
    such names, or of numbers for what has no variable.
    """

    def __init__(self, said: dict[str, Any]) -> None:
        self.facts: dict[str, Any] = {"architecture": "x86_64", "firmware_bits": 64, **said.pop("facts")}
        self.firmware: dict[str, str] = said.pop("firmware")
        self.disks: dict[str, dict[str, Any]] = said.pop("disks")
        self.shelves = {name: Shelf(files) for name, files in said.pop("files").items()}
        self.entries: dict[str, dict[str, Any]] = said.pop("entries")
        self.order: list[str | int] = said.pop("order")
        self.fstab: dict[str, str] = said.pop("fstab")
        self.variables: dict[str, Variable] = {}
        self.now: dict[str, Any] = said.pop("now")
        self.secure_boot = str(said.pop("secure boot")) == "on"
        self.timeout = int(said.pop("timeout"))
        if said:
            raise ValueError(f"nothing is known of {', '.join(said)} of a machine")

    @classmethod
    def load(cls, name: str) -> Machine:
        return cls(read(MACHINES / f"{name}.yaml"))

    # what there is

    def partition(self, name: str) -> dict[str, Any]:
        """What is said of a partition. Raises ValueError for one that no disk has."""
        for one in self.disks.values():
            if name in one["partitions"]:
                return dict_of(one["partitions"][name])
        raise ValueError(f"no disk has a partition {name}")

    def identity(self, name: str) -> str:
        """A volume's identity by the partition's name."""
        return f"gpt:{self.partition(name)['id']}"

    def number(self, name: str | int) -> int:
        """An entry's number by its name; a number is one already."""
        return name if isinstance(name, int) else int(self.entries[name]["number"])

    def present(self) -> dict[str, dict[str, Any]]:
        """The disks that are plugged in."""
        return {name: one for name, one in self.disks.items() if not one.get("unplugged")}

    # the state

    def state(self) -> State:
        texts = [shelf.texts() for shelf in self.shelves.values()]
        disks = _told_apart({name: _left(_disk(name, one), one) for name, one in self.present().items()})
        return State(
            variables=self._variables(),
            disks={one.key: one for one in disks.values()},
            volumes={one.identity: one for one in self._volumes(disks)},
            texts={digest: data for held in texts for digest, data in held.items()},
            facts={**self.facts, **{f"firmware_{n}": v for n, v in self.firmware.items()}, **self._fstab()},
        )

    def _volumes(self, disks: dict[str, Disk]) -> list[Volume]:
        return [
            _volume(disks[disk], part, said, self.shelves[part])
            for disk, one in self.present().items()
            for part, said in one["partitions"].items()
            if part in self.shelves and said.get("holds", "vfat") == "vfat" and not said.get("deleted")
        ]

    def _fstab(self) -> dict[str, Any]:
        """Lines of fstab: ``FOLDER: VOLUME`` or what identifies it, with options behind it if need be."""
        lines = []
        for folder, said in self.fstab.items():
            name, _, options = str(said).partition(" ")
            source = name if "=" in name else f"PARTUUID={self.partition(name)['id']}"
            given = {"target": folder, "type": "vfat", "options": options or "umask=0077"}
            lines.append({"source": source, **given})
        return {"fstab": lines}

    def _variables(self) -> dict[str, Variable]:
        values = {key("SecureBoot"): Variable(6, bytes([self.secure_boot]))}
        values[key("Timeout")] = Variable(7, struct.pack("<H", self.timeout))
        order = [self.number(name) for name in self.order]
        values[key("BootOrder")] = Variable(7, struct.pack(f"<{len(order)}H", *order))
        for said in self.entries.values():
            name = said.get("variable", f"Boot{said['number']:04X}")
            values[key(name)] = Variable(7, self._option(said))
        return values | self.variables

    def _option(self, said: dict[str, Any]) -> bytes:
        """A load option by the tables of UEFI 2.10 §3.1.3."""
        data = MARK_OF_FIRMWARE if said.get("made by") == "firmware" else str(said.get("data", "")).encode()
        attributes = 0 if said.get("inactive") else 1
        return paths.option(str(said["label"]), *self._nodes(said), attributes=attributes, data=data)

    def _nodes(self, said: dict[str, Any]) -> list[bytes]:
        if "device" in said:
            return [paths.ROOT, *_nodes_of(str(said["device"]))]
        nodes = [self._drive(str(said["on"]), said.get("partition"), said.get("id"))]
        return [*nodes, paths.file(said["file"])] if "file" in said else nodes

    def _drive(self, name: str, number: int | None, identifier: str | None) -> bytes:
        """A hard drive node; of a disk that is not there too, since entries outlive their disks. ``number``
        and ``identifier`` are the partition's as the entry names it, where they are others."""
        for disk, one in self.disks.items():
            if name in one["partitions"]:
                place = list(one["partitions"]).index(name)
                part = _disk(disk, one).partitions[place]
                length = part.last_lba - part.first_lba + 1
                return paths.drive(
                    identifier or part.identifier[4:], number or part.number, part.first_lba, length
                )
        raise ValueError(f"no disk has a partition {name}")

    # what happens to it

    def set_entry(self, name: str, value: Any) -> None:
        """``gone``, ``inactive``, ``active``, or what is different of it; a new name makes a new entry."""
        if value in ("gone", "gone but listed"):
            number = int(self.entries.pop(name)["number"])
            self.order = [number if one == name else one for one in self.order]
            if value == "gone":
                self.order = [one for one in self.order if one != number]
            return
        said = {"inactive": value == "inactive"} if value in ("inactive", "active") else dict(value)
        self.entries[name] = {"label": name, **self.entries.get(name, {}), **said}

    def set_disk(self, name: str, value: Any) -> None:
        """``plugged in``, ``gone``, or what is different of it."""
        said = {"unplugged": value == "gone"} if value in ("plugged in", "gone") else dict(value)
        self.disks[name] = {**self.disks.get(name, {}), **said}
        for part, one in self.disks[name]["partitions"].items():
            if one.get("holds", "vfat") == "vfat":
                self.shelves.setdefault(part, Shelf())

    def set_volume(self, name: str, value: Any) -> None:
        """``gone`` with its partition, or what is different of the partition or its file system; one that
        isn't there yet says on which ``disk`` it lies, behind the others."""
        parts = next((one["partitions"] for one in self.disks.values() if name in one["partitions"]), None)
        if parts is None:
            said = dict(value)
            self.disks[said.pop("disk")]["partitions"][name] = said
            self.shelves.setdefault(name, Shelf())
            return
        if value == "gone":
            parts[name] = {**parts[name], "deleted": True}
            return
        parts[name] = {**parts[name], **dict(value)}
        if "serial" in value:
            self.shelves[name] = Shelf()

    def set_variable(self, name: str, value: Any) -> None:
        """``gone``, the data in hex, or for the key databases a word that stands for their content."""
        if name in _KEYS:
            self.variables[_KEYS[name]] = Variable(39, str(value).encode())
        elif value == "gone":
            del self.variables[key(name)]
        else:
            self.variables[key(name)] = Variable(7, bytes.fromhex(str(value)))


def dict_of(value: Any) -> dict[str, Any]:
    return dict(value)


def _disk(name: str, said: dict[str, Any]) -> Disk:
    """A disk with a GPT; partitions lie one after the other unless one says where it begins."""
    parts, start = [], 2048
    for place, (label, one) in enumerate(said["partitions"].items(), 1):
        start = one.get("start", start)
        last = start + size(one["size"]) // BLOCK - 1
        kind = _TYPES[one.get("type", "esp")]
        content = Content(one.get("holds", "vfat"), str(one.get("uuid", one.get("serial", ""))))
        number = one.get("number", place)
        parts.append(Partition(number, f"gpt:{one['id']}", kind, start, last, name=label, content=content))
        start = last + 1
    return Disk(
        f"gpt:{said.get('id', name)}", "gpt", _address(str(said["at"])), (start + 2048) * BLOCK, BLOCK,
        bool(said.get("removable")), str(said.get("model", "")), {}, tuple(parts),
    )  # fmt: skip


def _left(disk: Disk, said: dict[str, Any]) -> Disk:
    """The disk without the partitions that were deleted."""
    parts = (part for part in disk.partitions if not said["partitions"][part.name].get("deleted"))
    return replace(disk, partitions=tuple(parts))


def _told_apart(disks: dict[str, Disk]) -> dict[str, Disk]:
    """Copies of one disk carry their address behind the identifier that they share."""
    count = Counter(one.key for one in disks.values())
    return {
        name: replace(one, key=f"{one.key}@{one.address}") if count[one.key] > 1 else one
        for name, one in disks.items()
    }


def _volume(disk: Disk, name: str, said: dict[str, Any], shelf: Shelf) -> Volume:
    (part,) = (one for one in disk.partitions if one.name == name)
    address = disk.key.partition("@")[2]
    identity = part.identifier + (f"@{address}" if address else "")
    length = (part.last_lba - part.first_lba + 1) * BLOCK
    return Volume(
        identity, disk.key, part.number, part.type, part.first_lba * BLOCK, length, 32,
        str(said["serial"]), str(said.get("label", "")), shelf.files(),
    )  # fmt: skip


def _address(said: str) -> str:
    bus, _, place = said.partition(" ")
    return states.VIRTIO.format(int(place), int(place)) if bus == "pci" else states.STICK.format(int(place))


def _nodes_of(said: str) -> list[bytes]:
    """``pci 4`` is a disk by its slot, ``usb 1`` a USB port counted from 1, ``network`` the network."""
    bus, _, place = said.partition(" ")
    if bus == "usb":
        return [paths.pci(7), paths.usb(int(place) - 1)]
    if bus == "network":
        return [paths.pci(3), paths.node(3, 11, bytes(32) + b"\1"), paths.node(3, 12, bytes(23))]
    return [paths.pci(int(place))]
