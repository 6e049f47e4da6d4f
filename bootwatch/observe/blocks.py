"""Block devices as the kernel's sysfs lays them out."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from bootwatch.observe.machine import Machine

_BLOCK = "sys/class/block"
_SECTOR = 512  # sysfs counts in these, whatever the disk's own block size is
# Optical and floppy drives: the firmware treats them in its own way, and reading them wakes a motor.
_LEFT_OUT = re.compile(r"(sr|fd)\d+")


@dataclass(frozen=True)
class Node:
    """A partition as the kernel sees it; sizes in bytes, ``device`` is "major:minor"."""

    name: str
    number: int
    start: int
    size: int
    device: str | None


@dataclass(frozen=True)
class Drive:
    """A whole disk. ``address`` is its sysfs path below /sys/devices, without its own name.

    ``size`` is None where sysfs doesn't say it.
    """

    name: str
    address: str
    size: int | None
    block_size: int
    removable: bool
    model: str
    device: str | None
    ports: dict[str, int] = field(default_factory=dict)
    nodes: tuple[Node, ...] = ()

    def node(self, number: int) -> Node | None:
        return next((node for node in self.nodes if node.number == number), None)


def read_drives(machine: Machine) -> list[Drive]:
    """Every disk but those without a medium. Raises OSError when sysfs's list itself can't be read."""
    links = {name: _link(machine, name) for name in machine.names(_BLOCK)}
    numbers = {name: machine.number_or_none(f"{_BLOCK}/{name}/partition") for name in links}
    parents = {name: _parent_name(name, links, numbers) for name in links}
    drives = []
    for name, link in links.items():
        if parents[name] or _LEFT_OUT.fullmatch(name) or "/virtual/" in link:
            continue
        children = [child for child, parent in parents.items() if parent == name]
        nodes = [_node(machine, child, numbers[child] or 0) for child in children]
        drives.append(_drive(machine, name, link, tuple(sorted(nodes, key=lambda node: node.number))))
    return [drive for drive in drives if drive.size != 0]


def _link(machine: Machine, name: str) -> str:
    try:
        return machine.link(f"{_BLOCK}/{name}")
    except OSError:
        return ""  # laid out by hand as a plain folder


def _parent_name(name: str, links: dict[str, str], numbers: dict[str, int | None]) -> str:
    """The disk that a partition lies on, "" for a disk.

    By the folder above it (even where its number can't be read); laid out by hand, by the longest name of a
    disk that begins its own.
    """
    parent = links[name].rstrip("/").rpartition("/")[0].rpartition("/")[2]
    if parent in links and parent != name:
        return parent
    if numbers[name] is None:
        return ""
    disks = [other for other in links if other != name and numbers[other] is None and name.startswith(other)]
    return max(disks, key=len, default="")


def _node(machine: Machine, name: str, number: int) -> Node:
    folder = f"{_BLOCK}/{name}"
    start = machine.number_or_none(f"{folder}/start") or 0
    size = machine.number_or_none(f"{folder}/size") or 0
    return Node(name, number, start * _SECTOR, size * _SECTOR, machine.text_or_none(f"{folder}/dev"))


def _drive(machine: Machine, name: str, link: str, nodes: tuple[Node, ...]) -> Drive:
    folder = f"{_BLOCK}/{name}"
    size = machine.number_or_none(f"{folder}/size")
    address = re.sub(r"^(\.\./)*devices/", "", link).removesuffix(f"/{name}").removesuffix("/block")
    return Drive(
        name=name,
        address=address,
        size=size * _SECTOR if size is not None else None,
        block_size=machine.number_or_none(f"{folder}/queue/logical_block_size") or _SECTOR,
        removable=machine.text_or_none(f"{folder}/removable") == "1",
        model=machine.text_or_none(f"{folder}/device/model") or "",
        device=machine.text_or_none(f"{folder}/dev"),
        ports=_ports(machine, folder, address),
        nodes=nodes,
    )


def _ports(machine: Machine, folder: str, address: str) -> dict[str, int]:
    """What else is needed to tell the firmware's name of the place from the kernel's."""
    ports: dict[str, int] = {}
    namespace = machine.number_or_none(f"{folder}/nsid")
    if namespace is not None:
        ports["nvme_namespace"] = namespace
    before, found, after = address.partition("/ata")
    controller = "ata" + after.partition("/")[0]
    if found:
        port = machine.number_or_none(f"sys/devices/{before}/{controller}/ata_port/{controller}/port_no")
        if port is not None:
            ports["ata_port_no"] = port
    return ports
