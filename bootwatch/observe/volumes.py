"""Boot volumes, mounted or not, on every disk."""

from __future__ import annotations

import contextlib
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import BinaryIO, cast

from bootwatch.formats import FormatError
from bootwatch.formats.fat import Volume as FatVolume
from bootwatch.model.boot_folder import is_boot_folder
from bootwatch.model.disk import BOOT_TYPES, Disk, Partition
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.path import fold
from bootwatch.model.volume import Volume
from bootwatch.observe.blocks import Drive
from bootwatch.observe.faults import read_faults
from bootwatch.observe.files import KeepProgram, Listing, read_folder, read_walk
from bootwatch.observe.machine import Machine, detail_of, reason_for, reason_in_reading
from bootwatch.observe.mounts import FAT_NAMES, FstabLine, Mount, is_below, read_mounts
from bootwatch.observe.naming import names_volume
from bootwatch.observe.window import Window

_EXTENDED = frozenset({"mbr:05", "mbr:0f", "mbr:85"})
_TRIES = 3


@dataclass(frozen=True)
class Place:
    """Where a volume may lie: a partition, or a whole disk without a table, whose ``identity`` is None."""

    disk: Disk
    drive: Drive
    partition: Partition | None
    identity: str | None

    @property
    def node(self) -> str:
        """The kernel's name for it, as it would be if sysfs doesn't list it."""
        if not self.partition:
            return self.drive.name
        node = self.drive.node(self.partition.number)
        separator = "p" if self.drive.name[-1:].isdigit() else ""
        return node.name if node else f"{self.drive.name}{separator}{self.partition.number}"

    @property
    def device(self) -> str | None:
        node = self.drive.node(self.partition.number) if self.partition else self.drive
        return node.device if node else None

    @property
    def start(self) -> int:
        return self.partition.first_lba * self.disk.block_size if self.partition else 0

    @property
    def size(self) -> int:
        if not self.partition:
            return self.disk.size
        return (self.partition.last_lba - self.partition.first_lba + 1) * self.disk.block_size

    @property
    def has_boot_type(self) -> bool:
        return bool(self.partition and self.partition.type in BOOT_TYPES)


@dataclass
class Volumes:
    """Everything read from boot volumes."""

    found: dict[str, Volume] = field(default_factory=dict)
    texts: dict[str, bytes] = field(default_factory=dict)
    gaps: list[Gap] = field(default_factory=list)
    mounts: dict[str, str] = field(default_factory=dict)
    free_bytes: dict[str, int] = field(default_factory=dict)
    dirty: dict[str, bool] = field(default_factory=dict)
    faults: dict[str, dict[str, str]] = field(default_factory=dict)
    unread_disks: set[str] = field(default_factory=set)

    def add(self, volume: Volume, listing: Listing) -> None:
        self.found[volume.identity] = volume
        self.texts.update(listing.texts())
        self.gaps.extend(listing.gaps)


@dataclass
class VolumeReader:
    """Finds and reads the boot volumes of one machine."""

    machine: Machine
    named: set[str]
    tops: set[str]
    fstab: list[FstabLine]
    keep_program: KeepProgram | None = None
    result: Volumes = field(default_factory=Volumes)

    def read(self, disks: list[tuple[Disk, Drive]]) -> Volumes:
        for place in self._told_apart(places_of(disks)):
            self._read_place(place)
        return self.result

    def _told_apart(self, places: list[Place]) -> list[Place]:
        """Volumes without a table that carry the same serial are told apart by their disks' addresses."""
        serials = [None if place.partition else self._look_at_header(place)[0] for place in places]
        count = Counter(serials)
        return [
            replace(place, identity=f"fat:{serial}@{place.disk.address}")
            if serial is not None and count[serial] > 1
            else place
            for place, serial in zip(places, serials, strict=True)
        ]

    def _read_place(self, place: Place) -> None:
        """Read a volume by whichever way is right; again when it was mounted or unmounted meanwhile."""
        before = len(self.result.gaps)
        for _ in range(_TRIES):
            del self.result.gaps[before:]
            mount = self._mount_of(place)
            identity = self._read_mounted(place, mount) if mount else self._read_raw(place)
            if self._mount_of(place) == mount:
                return
            if identity:
                self.result.found.pop(identity, None)
                self._forget_circumstance(identity)
        del self.result.gaps[before:]
        name = place.identity or place.node
        detail = "it was mounted or unmounted each time while it was read"
        self.result.gaps.append(Gap("volume", name, Reason.UNREADABLE, detail))

    def _forget_circumstance(self, identity: str) -> None:
        result = self.result
        for circumstance in (result.mounts, result.free_bytes, result.dirty, result.faults):
            circumstance.pop(identity, None)

    def _mount_of(self, place: Place) -> Mount | None:
        """The last mount of the place that reaches it as a whole."""
        try:
            mounts = read_mounts(self.machine)
        except OSError as error:
            gap = Gap("machine", "proc/self/mountinfo", reason_for(error), detail_of(error))
            if gap not in self.result.gaps:
                self.result.gaps.insert(0, gap)
            return None
        mine = [mount for mount in mounts if mount.is_whole and is_of(mount, place)]
        return mine[-1] if mine else None

    def _mounted_below(self, mount: Mount) -> frozenset[str]:
        """Where something else is mounted within a mount."""
        below = set()
        with contextlib.suppress(OSError):
            for other in read_mounts(self.machine):
                if other.folder != mount.folder and is_below(other.folder, mount.folder):
                    below.add(self.machine.locate(other.folder))
        return frozenset(below)

    def _read_mounted(self, place: Place, mount: Mount) -> str | None:
        if mount.kind not in FAT_NAMES:
            return None
        serial, label, fat_type = self._look_at_header(place)
        identity = place.identity or f"fat:{serial or place.node}"
        try:
            folder = self.machine.locate(mount.folder)
            has_top = any(fold(one.name) in self.tops for one in self.machine.listed(folder))
        except OSError as error:
            if self._is_named(place, identity, serial or "", label) or is_boot_folder(mount.folder):
                detail = f"mounted at {mount.folder}: {detail_of(error)}"
                self.result.gaps.append(Gap("volume", identity, reason_in_reading(error), detail))
            return identity
        if not (
            has_top or is_boot_folder(mount.folder) or self._is_named(place, identity, serial or "", label)
        ):
            return None
        listing = Listing(identity, self.keep_program, self.machine.answers)
        read_folder(self.machine, listing, folder, _fat_time, self._mounted_below(mount))
        self.result.add(_volume(place, identity, fat_type, serial, label, listing), listing)
        self.result.mounts[identity] = mount.folder
        with contextlib.suppress(OSError):
            self.result.free_bytes[identity] = self.machine.free(folder)
        return identity

    def _look_at_header(self, place: Place) -> tuple[str | None, str, int | None]:
        """Serial, label and type of a volume, where its node may be read."""
        try:
            with open_place(self.machine, place) as reader:
                volume = FatVolume(reader)
                return volume.serial, volume.label, volume.fat_type
        except (OSError, FormatError):
            return None, "", None

    def _read_raw(self, place: Place) -> str | None:
        identity = place.identity or f"fat:{place.node}"
        opened = False
        try:
            with open_place(self.machine, place) as reader:
                opened = True
                volume = FatVolume(reader)
                identity = place.identity or f"fat:{volume.serial}"
                if self._is_named(place, identity, volume.serial, volume.label) or self._has_top(volume):
                    self._read_fat(place, identity, volume)
                    return identity
        except FormatError:
            return None
        except OSError as error:
            self._note_unread(
                place, identity, reason_in_reading(error) if opened else reason_for(error), error
            )
        return None

    def _note_unread(self, place: Place, identity: str, reason: Reason, error: OSError) -> None:
        detail = f"dev/{place.node}: {detail_of(error)}"
        if place.partition is None:
            # Its volume's identity lies in what can't be read: so the disk as a whole is unread.
            self.result.unread_disks.add(place.disk.key)
            self.result.gaps.append(Gap("disk", place.drive.name, reason, detail))
        elif place.has_boot_type or self.named & {identity, place.partition.identifier}:
            self.result.gaps.append(Gap("volume", identity, reason, detail))

    def _read_fat(self, place: Place, identity: str, volume: FatVolume) -> None:
        listing = Listing(identity, self.keep_program, self.machine.answers)
        read_walk(listing, volume)
        found = _volume(place, identity, volume.fat_type, volume.serial, volume.label, listing)
        self.result.dirty[identity] = volume.dirty
        self.result.free_bytes[identity] = volume.free_bytes
        if faults := read_faults(volume, listing.files):
            self.result.faults[identity] = faults
        self.result.add(found, listing)

    def _has_top(self, volume: FatVolume) -> bool:
        for top in sorted(self.tops):
            try:
                volume.find(f"\\{top}")
            except FileNotFoundError:
                continue
            return True
        return False

    def _is_named(self, place: Place, identity: str, serial: str, label: str) -> bool:
        plain = place.partition.identifier if place.partition else identity
        return (
            place.has_boot_type
            or plain in self.named
            or identity in self.named
            or names_volume(
                self.fstab, plain, place.partition.name if place.partition else "", serial, label, place.node
            )
        )


@contextmanager
def open_place(machine: Machine, place: Place) -> Iterator[BinaryIO]:
    """The partition's own node, since each node has a page cache of its own; else out of the disk."""
    try:
        with machine.open(f"dev/{place.node}") as reader:
            yield cast(BinaryIO, Window(reader, 0, place.size))
        return
    except FileNotFoundError:
        if not place.partition:
            raise
    with machine.open(f"dev/{place.drive.name}") as disk:
        yield cast(BinaryIO, Window(disk, place.start, place.size))


def places_of(disks: list[tuple[Disk, Drive]]) -> list[Place]:
    """Every partition, and every disk without a table; equal identifiers are told apart by the address."""
    count = Counter(part.identifier for disk, _ in disks for part in disk.partitions)
    places = []
    for disk, drive in disks:
        if disk.table == "none":
            places.append(Place(disk, drive, None, None))
        for part in disk.partitions:
            suffix = f"@{disk.address}" if count[part.identifier] > 1 else ""
            if part.type not in _EXTENDED:
                places.append(Place(disk, drive, part, part.identifier + suffix))
    return places


def is_of(mount: Mount, place: Place) -> bool:
    """By device number; by name only where sysfs doesn't say the number."""
    return mount.device == place.device if place.device else mount.source == f"/dev/{place.node}"


def _volume(
    place: Place, identity: str, fat_type: int | None, serial: str | None, label: str, listing: Listing
) -> Volume:
    return Volume(
        identity=identity,
        disk=place.disk.key,
        number=place.partition.number if place.partition else None,
        type=place.partition.type if place.partition else None,
        start=place.start,
        size=place.size,
        fat_type=fat_type,
        serial=serial,
        label=label,
        files=listing.files,
    )


def _fat_time(seconds: float) -> str:
    """A mounted file's time as it stands on the volume: Linux took today's offset off the local time."""
    offset = time.localtime().tm_gmtoff
    return time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(seconds + offset))
