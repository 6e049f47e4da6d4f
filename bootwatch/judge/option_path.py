"""Where a load option's device path ends on this machine (UEFI 2.10 §3.1.2, §3.5.1, and edk2's ways).

A path names a file in full, from the PCI root on; or in short form, from the partition or the file on; or
only a disk or a partition, whose default file is meant. The first device path of the list is what counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from bootwatch.formats import guid, utf16
from bootwatch.formats.device_path import DevicePath, Node
from bootwatch.formats.device_path_text_media import FILE, HARD_DRIVE, HARD_DRIVE_NODE
from bootwatch.judge.attachment import HARDWARE, MEDIA, MESSAGING, Attached, disks_at
from bootwatch.judge.ground import Ground, Landing
from bootwatch.model.disk import Disk, Partition, hard_drive_identifier
from bootwatch.model.volume import Volume

_BBS, _END = 5, 0x7F
_CDROM, _FV_FILE = (MEDIA, 2), (MEDIA, 6)
_USB_CLASS, _USB_WWID = (MESSAGING, 15), (MESSAGING, 16)
NETWORK = frozenset((MESSAGING, subtype) for subtype in (11, 12, 13, 20, 24, 27, 28))
_VENDORS = frozenset({(HARDWARE, 4), (MESSAGING, 10), (MEDIA, 3)})
_FORMATS = {2: 2, 1: 1}  # signature type -> table format that firmware writes beside it
_ANY_USB = b"\xff" * 4

Landings = tuple[Landing, ...]


@dataclass(frozen=True)
class OptionPath:
    """One option's path on one machine."""

    ground: Ground
    path: DevicePath

    def landings(self) -> Landings:
        """Where it may end; more than one where the firmware has a free choice."""
        nodes = self.path.nodes
        kinds = [(node.type, node.subtype) for node in nodes]
        if not nodes:
            return _never("its device path names nothing")
        if any(node.type == _END for node in nodes):
            return _never("it holds several device paths in one, which names no one place")
        if _FV_FILE in kinds:
            return self._in_firmware(kinds)
        if nodes[0].type == _BBS:
            return _never("it names a start in the old BIOS way, which this firmware is not taken to have")
        if kinds[0] == HARD_DRIVE:
            return self._short_form(nodes)
        if kinds[0] == FILE:
            return self._on_any_volume(nodes)
        if kinds[0] in (_USB_CLASS, _USB_WWID):
            return self._on_usb(nodes)
        if NETWORK & set(kinds):
            return _never("it asks the network, and is passed over unless a server there answers")
        return self._full(nodes)

    def _in_firmware(self, kinds: Sequence[tuple[int, int]]) -> Landings:
        """A file in a firmware volume, which has to be named before it and has to be one that is there: the
        firmware's own entries tell which."""
        at = kinds.index(_FV_FILE)
        if at == 0:
            return _never("it names a program in the firmware, but not where")
        own, others = (
            self.ground.firmware_volumes[bytes(self.path.nodes[at - 1])],
            self.ground.firmware_volumes,
        )
        if own < 2 <= max(others.values()):
            return (Landing(None, "it may name a part of the firmware that isn't there", likely=False),)
        return (Landing(True, "it is a program in the firmware itself"),)

    # in full

    def _full(self, nodes: Sequence[Node]) -> Landings:
        media = next((place for place, node in enumerate(nodes) if node.type == MEDIA), len(nodes))
        disks, is_sure = disks_at(self.ground.disks, nodes[:media])
        if not disks:
            return (self._no_disk(nodes[:media]),)
        landings = [landing for disk in disks for landing in self._on_disk(disk, nodes[media:])]
        if is_sure or len(disks) > 1:
            return tuple(landings)
        return tuple(_unsure(landing) for landing in landings)

    def _no_disk(self, nodes: Sequence[Node]) -> Landing:
        if self.ground.has_unread_disks:
            return Landing(None, "a disk could not be read: it may be the one that is named")
        if any((one.type, one.subtype) in _VENDORS for one in nodes):
            return Landing(None, "only the firmware knows what its device path leads to", likely=False)
        return Landing(False, "no disk is attached where it says")

    def _on_disk(self, disk: Disk, media: Sequence[Node]) -> Landings:
        if not media:
            return (self.ground.default_of(disk),)
        kind = (media[0].type, media[0].subtype)
        if kind == _CDROM:
            return (Landing(None, "it names an optical disc, which is not looked at", likely=False),)
        if kind == FILE:
            return (self._in_place(disk, None, media),)
        if kind != HARD_DRIVE or len(media[0].data) != HARD_DRIVE_NODE.size:
            return _never("its device path names nothing that firmware finds on a disk")
        for part in disk.partitions:
            if _is_named(part, media[0].data, exactly=True):
                return (self._in_place(disk, part, media[1:]),)
        return _never("the disk has no partition with the number, place and identifier that it says")

    # in short form

    def _short_form(self, nodes: Sequence[Node]) -> Landings:
        data = nodes[0].data
        if len(data) != HARD_DRIVE_NODE.size:
            return _never("its device path is damaged")
        number, _, _, signature, _, kind = HARD_DRIVE_NODE.unpack(data)
        identifier = _identifier(number, signature, kind)
        known = self.ground.partitions.get(identifier or "", ())
        found = [
            self._in_place(disk, part, nodes[1:])
            for disk, part in known
            if _is_named(part, data, exactly=False)
        ]
        return tuple(found) or (self._no_partition(number, identifier, known),)

    def _no_partition(
        self, number: int, identifier: str | None, known: Sequence[tuple[Disk, Partition]]
    ) -> Landing:
        if self.ground.has_unread_disks:
            return Landing(None, "a disk could not be read: its partition may lie there", identifier)
        for _, part in known:
            return Landing(False, f"it names partition number {number}, which is number {part.number} now")
        return Landing(False, f"no disk has its partition {(identifier or '?').partition(':')[2]}")

    def _on_any_volume(self, nodes: Sequence[Node]) -> Landings:
        """A path without a device: on every removable disk, then on every fixed one."""
        for is_removable in (True, False):
            disks = [disk for disk in self.ground.disks if disk.removable == is_removable]
            hits = [landing for disk in disks if (landing := self._first_on(disk, nodes))]
            if hits:
                return tuple(hits)
        if self.ground.has_unread_disks:
            return (Landing(None, "a disk could not be read: the file may be there"),)
        return _never("no boot volume has the file")

    def recovery(self) -> Landings:
        """Where it may end as a recovery option: of files without a device the firmware then goes on from one
        that fails to the next (edk2)."""
        nodes = self.path.nodes
        if not nodes or (nodes[0].type, nodes[0].subtype) != FILE:
            return self.landings()
        for is_removable in (True, False):
            disks = [disk for disk in self.ground.disks if disk.removable == is_removable]
            found = [
                landing
                for disk in disks
                for volume in self.ground.volumes_of(disk)
                if (landing := self._file_on(volume, nodes)).starts is not False
            ]
            if found:
                return tuple(found)
        return self._on_any_volume(nodes)

    @property
    def is_device_alone(self) -> bool:
        """Whether it names a device that is there, and nothing on it."""
        nodes = self.path.nodes
        if not nodes or any(node.type in (MEDIA, _BBS, _END) for node in nodes):
            return False
        return bool(disks_at(self.ground.disks, nodes)[0]) or self.ground.has_unread_disks

    def _first_on(self, disk: Disk, nodes: Sequence[Node]) -> Landing | None:
        """The first file of that path on a disk that the firmware settles for."""
        landings = (self._file_on(volume, nodes) for volume in self.ground.volumes_of(disk))
        found = next((landing for landing in landings if landing.chosen or landing.starts is None), None)
        unread = next(self.ground.unread_of(disk), None)
        if found or not unread:
            return found
        return Landing(None, "whether the file is there could not be read", unread)

    def _on_usb(self, nodes: Sequence[Node]) -> Landings:
        """A USB disk by what it is instead of where: edk2 then takes no file behind it."""
        sticks = [disk for disk in self.ground.disks if Attached(disk).usb]
        if not sticks:
            return _never("no USB disk is attached")
        if len(nodes) > 1:
            return _never("it names a USB disk by its kind and a file there, which firmware doesn't follow")
        landings = tuple(self._default_of_first(disk) for disk in sticks)
        if (nodes[0].type, nodes[0].subtype) == _USB_CLASS and nodes[0].data[:4] == _ANY_USB:
            started = tuple(landing for landing in landings if landing.chosen or landing.starts is None)
            return started or landings[:1]
        return tuple(_unsure(landing) for landing in landings)

    def _default_of_first(self, disk: Disk) -> Landing:
        """The default file of the disk's first file system: edk2 looks at no other one of a USB disk that is
        named by its kind."""
        if next(self.ground.unread_of(disk), None):
            return _unsure(self.ground.default_of(disk))
        volumes = self.ground.volumes_of(disk)
        return self.ground.default_on(volumes[0]) if volumes else self.ground.default_of(disk)

    # a file at last

    def _in_place(self, disk: Disk, part: Partition | None, rest: Sequence[Node]) -> Landing:
        volume = self.ground.volume(disk, part)
        if volume is None:
            return self._no_volume(part)
        if not rest:
            return self.ground.default_on(volume)
        return self._file_on(volume, rest)

    def _no_volume(self, part: Partition | None) -> Landing:
        if part is None:
            return Landing(False, "it names a file on the disk itself, which has no FAT file system")
        if self.ground.is_unread(part.identifier):
            return Landing(None, "its volume could not be read", part.identifier)
        return Landing(False, "its partition holds no FAT file system", part.identifier)

    def _file_on(self, volume: Volume, nodes: Sequence[Node]) -> Landing:
        if any((node.type, node.subtype) != FILE for node in nodes):
            return Landing(False, "its device path names more than a file there", volume.identity)
        path = named_file(volume, [utf16.until_nul(node.data) for node in nodes])
        if path is None:
            return Landing(False, "its device path spells the file in a way that firmware doesn't follow")
        return self.ground.land(volume, path)


def named_file(volume: Volume, texts: Sequence[str]) -> str | None:
    """The path that the texts of file nodes name; None for a spelling that leads nowhere.

    The firmware opens them one after the other: each begins where the one before it ended or, with a
    backslash, at the volume's root. Its FAT driver drops blanks and dots at the ends of a name (edk2).
    """
    at: list[str] = []
    for place, text in enumerate(texts):
        if text.startswith("\\\\") or (place == len(texts) - 1 and text.endswith("\\")):
            return None
        if text.startswith("\\"):
            at = []
        for name in text.split("\\"):
            if name == "..":
                if not at or not _is_folder(volume, at):
                    return None
                at.pop()
            elif name not in ("", "."):
                at.append(name.lstrip(" ").rstrip(" .") or name)
    return "\\" + "\\".join(at) if at else None


def _is_folder(volume: Volume, names: Sequence[str]) -> bool:
    held = volume.file("\\" + "\\".join(names))
    return held is not None and held.is_folder


def _is_named(part: Partition, data: bytes, *, exactly: bool) -> bool:
    """Whether a hard drive node names a partition. In short form start and size don't matter (edk2)."""
    number, start, size, signature, table, kind = HARD_DRIVE_NODE.unpack(data)
    if number != part.number or _FORMATS.get(kind) != table:
        return False
    if _identifier(number, signature, kind) != part.identifier:
        return False
    return not exactly or (start, size) == (part.first_lba, part.last_lba - part.first_lba + 1)


def _identifier(number: int, signature: bytes, kind: int) -> str | None:
    if kind == 1:
        padding = signature[4:]
        text = f"{int.from_bytes(signature[:4], 'little'):08x}"
        return None if any(padding) else hard_drive_identifier(kind, text, number)
    return hard_drive_identifier(kind, guid.from_bytes(signature), number)


def _never(why: str) -> Landings:
    return (Landing(False, why),)


def _unsure(landing: Landing) -> Landing:
    """The same where it isn't sure that the disk is the one that is named."""
    why = f"it probably names this disk; if so, {landing.why}"
    return Landing(None, why, landing.volume, landing.file, likely=bool(landing.starts))
