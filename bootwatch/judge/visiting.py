"""Whether a disk, or an entry, is there only as long as something is plugged in."""

from __future__ import annotations

import re
from collections.abc import Iterable

from bootwatch.judge.entries import Entry
from bootwatch.judge.pairs import plain
from bootwatch.model.boot_folder import is_boot_folder
from bootwatch.model.disk import Disk
from bootwatch.model.snapshot import State

_USB = re.compile(r"/usb[0-9]+/")


def is_automatic(entry: Entry) -> bool:
    """Whether an entry is one that firmware makes by itself for a device: such ones name no file."""
    return entry.is_firmware_made or entry.file is None


def is_visiting(disk: Disk, state: State, entries: Iterable[Entry]) -> bool:
    """Whether a disk comes and goes: a removable one; and a drive on USB, unless somebody made an entry for a
    file on it. Not what the running system mounts under /boot or /efi at each start."""
    parts = {part.identifier for part in disk.partitions}
    if _is_mounted(disk, state, parts):
        return False
    if disk.removable:
        return True
    if not _USB.search(disk.address):
        return False
    return not any(entry.volume in parts for entry in entries if not is_automatic(entry))


def _is_mounted(disk: Disk, state: State, parts: set[str]) -> bool:
    lines = state.facts.get("fstab")
    known = [line for line in lines if isinstance(line, dict)] if isinstance(lines, list) else []
    sources = {
        str(one.get("source", "")).upper() for one in known if is_boot_folder(str(one.get("target", "")))
    }
    serials = {volume.serial for volume in state.volumes.values() if volume.disk == disk.key}
    uuids = {part.content.uuid for part in disk.partitions if part.content and part.content.uuid}
    names = {f"PARTUUID={plain(part).partition(':')[2]}" for part in parts}
    names |= {f"UUID={own}" for own in serials | uuids if own}
    return not sources.isdisjoint(name.upper() for name in names)
