"""Which disk a device path leads to: the firmware's name of a place against the kernel's (UEFI 2.10 §10.3).

The kernel's sysfs path of a disk names the PCI functions on the way to it as the firmware does. Behind them
stand a SATA port (which sysfs counts from 1, the path from 0), an NVMe namespace, USB ports (likewise), SCSI
target and unit; a virtio disk is its PCI function.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from bootwatch.formats.device_path import Node
from bootwatch.model.disk import Disk

HARDWARE, ACPI, MESSAGING, MEDIA = 1, 2, 3, 4
_PCI, _PCI_ROOTS = (HARDWARE, 1), (0x0A0341D0, 0x0A0841D0)
_ACPI = struct.Struct("<II")
_ATA, _SCSI, _USB, _UNIT, _SATA, _NVME, _SD, _EMMC = 1, 2, 5, 17, 18, 23, 26, 29
_FUNCTION = re.compile(r"[0-9a-f]{4,}:[0-9a-f]{2}:([0-9a-f]{2})\.([0-7])")
_ROOT = re.compile(r"pci([0-9a-f]{4,}):([0-9a-f]{2})")
_USB_PLACE = re.compile(r"\d+-(\d+(?:\.\d+)*):\d+\.(\d+)")
_TARGET = re.compile(r"\d+:\d+:(\d+):(\d+)")


@dataclass(frozen=True)
class Attached:
    """Where one disk is attached, in the firmware's terms. ``root`` is the number of its first PCI bus."""

    disk: Disk

    @cached_property
    def _parts(self) -> list[str]:
        return self.disk.address.split("/")

    @cached_property
    def root(self) -> int | None:
        match = _ROOT.fullmatch(self._parts[0])
        return int(match[2], 16) if match and match[1] == "0000" else None

    @cached_property
    def functions(self) -> tuple[tuple[int, int], ...]:
        """(device, function) of each PCI function on the way."""
        found = (_FUNCTION.fullmatch(part) for part in self._parts)
        return tuple((int(match[1], 16), int(match[2])) for match in found if match)

    @cached_property
    def usb(self) -> tuple[tuple[int, ...], int] | None:
        """The ports on the way, counted from 0, and the interface; None for a disk that isn't on USB."""
        match = next((found for part in self._parts if (found := _USB_PLACE.fullmatch(part))), None)
        return (tuple(int(port) - 1 for port in match[1].split(".")), int(match[2])) if match else None

    @cached_property
    def target(self) -> tuple[int, int] | None:
        """SCSI target and logical unit."""
        match = next((found for part in self._parts if (found := _TARGET.fullmatch(part))), None)
        return (int(match[1]), int(match[2])) if match else None

    @property
    def order(self) -> tuple[Any, ...]:
        """The order in which firmware usually comes across it: by PCI address, then by port."""
        ports = self.disk.ports
        usb = self.usb[0] if self.usb else ()
        port = ports.get("ata_port_no", 0), ports.get("nvme_namespace", 0)
        return (self.root or 0, self.functions, *port, usb, self.target or (0, 0), self.disk.key)

    def is_at(self, nodes: Sequence[Node]) -> bool | None:
        """Whether ``nodes``, all but the media nodes of a device path, lead to it. None: can't be told."""
        if not self.disk.address:
            return None
        behind = [node for node in nodes if node.type == MESSAGING]
        return _both(self._is_on_way(nodes), _both(self._is_below(nodes), self._is_behind(behind)))

    def _is_on_way(self, nodes: Sequence[Node]) -> bool | None:
        """Whether the path goes by the PCI functions that the kernel goes by. It can't be told of a disk that
        the kernel reaches without PCI, though the firmware may not, nor behind a bridge that is a PCI root of
        its own to the kernel."""
        on_way = [node for node in nodes if (node.type, node.subtype) == _PCI]
        if self.functions == tuple((node.data[1], node.data[0]) for node in on_way if len(node.data) == 2):
            return True
        is_odd = not self.functions or any(_ROOT.fullmatch(part) for part in self._parts[1:])
        return None if is_odd and not self._is_virtio else False

    @property
    def _is_virtio(self) -> bool:
        return self._parts[-1].startswith("virtio") and self.target is None

    def _is_below(self, nodes: Sequence[Node]) -> bool | None:
        """Whether the path begins at its PCI root. Which bus a root's UID stands for, only the firmware
        knows; for the first bus it is 0 and for others mostly the bus's number."""
        first = nodes[0] if nodes else None
        if first is None or first.type != ACPI or len(first.data) < _ACPI.size:
            # A path that begins at a PCI function leads nowhere (edk2).
            return (
                None if self.functions and (first is None or (first.type, first.subtype) != _PCI) else False
            )
        kind, uid = _ACPI.unpack_from(first.data)
        if kind not in _PCI_ROOTS or self.root is None:
            return None
        if uid == self.root:
            return True
        return False if 0 in (uid, self.root) else None

    def _is_behind(self, nodes: Sequence[Node]) -> bool | None:
        ports = self.disk.ports
        if self.usb is not None:
            return self._is_usb(nodes)
        kinds = [node.subtype for node in nodes]
        if "nvme_namespace" in ports:
            return kinds == [_NVME] and _number(nodes[0].data, "<I") == ports["nvme_namespace"]
        if "ata_port_no" in ports:
            return self._is_ata(nodes, kinds, ports["ata_port_no"] - 1)
        if kinds == [_SCSI] and self.target is not None:
            return nodes[0].data[:4] == struct.pack("<HH", *self.target)
        if "/mmc" in self.disk.address:
            return None if kinds in ([_SD], [_EMMC]) else False
        if self._is_virtio:
            return not kinds
        return None if kinds else False

    def _is_ata(self, nodes: Sequence[Node], kinds: list[int], port: int) -> bool:
        if kinds == [_ATA]:
            channel, slave = port, (self.target or (0, 0))[0]
            return nodes[0].data[:2] == bytes([channel & 0xFF, slave & 0xFF])
        return kinds == [_SATA] and _number(nodes[0].data, "<H") == port

    def _is_usb(self, nodes: Sequence[Node]) -> bool | None:
        """By ports and interface. Of a controller's two root hubs either may come first, so a higher number
        of the first port can mean the same place. Where a device has several units, a last node says which
        (edk2)."""
        ports, interface = self.usb or ((), 0)
        unit = nodes[-1].data[:1] if nodes and nodes[-1].subtype == _UNIT else None
        if unit is not None:
            nodes = nodes[:-1]
        if self.target is not None and self.target[1] != (unit or b"\0")[0]:
            return False
        if len(nodes) != len(ports) or any(node.subtype != _USB or len(node.data) != 2 for node in nodes):
            return False
        named = [node.data[0] for node in nodes]
        if named[1:] != list(ports[1:]) or nodes[-1].data[1] != interface or named[0] < ports[0]:
            return False
        return True if named[0] == ports[0] else None


def disks_at(disks: Iterable[Disk], nodes: Sequence[Node]) -> tuple[list[Disk], bool]:
    """The disks that ``nodes`` may lead to, and whether that is sure. More than one is never sure."""
    judged = [(disk, Attached(disk).is_at(nodes)) for disk in disks]
    sure = [disk for disk, is_at in judged if is_at]
    if sure:
        return sure, len(sure) == 1
    return [disk for disk, is_at in judged if is_at is None], False


def by_address(disks: Iterable[Disk]) -> list[Disk]:
    """In the order in which firmware usually comes across them."""
    return sorted(disks, key=lambda disk: Attached(disk).order)


def in_order(disks: Iterable[Disk]) -> list[Disk]:
    """Removable disks first, then by address: the order of what the firmware tries where nothing decides."""
    return sorted(by_address(disks), key=lambda disk: not disk.removable)


def _both(one: bool | None, other: bool | None) -> bool | None:
    if one is False or other is False:
        return False
    return None if None in (one, other) else True


def _number(data: bytes, layout: str) -> int | None:
    size = struct.calcsize(layout)
    return int(struct.unpack_from(layout, data)[0]) if len(data) >= size else None
