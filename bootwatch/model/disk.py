"""Disks and their partition tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from bootwatch.model.known import known_fields

ESP = "c12a7328-f81f-11d2-ba4b-00a0c93ec93b"
XBOOTLDR = "bc13c2ff-59e6-4262-a352-b275fd6f7172"
MBR_ESP = "mbr:ef"
BOOT_TYPES = frozenset({ESP, XBOOTLDR, MBR_ESP})
TYPE_NAMES = {
    ESP: "EFI system partition",
    XBOOTLDR: "extended boot loader partition",
    MBR_ESP: "EFI system partition",
}


_GPT_SIGNATURE, _MBR_SIGNATURE = 2, 1


def hard_drive_identifier(signature_type: int, signature: str, number: int) -> str | None:
    """The identifier of the partition that a device path's hard drive node names; None for other kinds."""
    if signature_type == _GPT_SIGNATURE:
        return f"gpt:{signature}"
    return f"mbr:{signature}-{number:02x}" if signature_type == _MBR_SIGNATURE else None


@dataclass(frozen=True)
class Content:
    """What a partition holds: ``kind`` and ``uuid`` as Linux's tools spell them ("ext4", "vfat", "swap").

    ``kind`` is "empty", "unknown" for something that isn't recognized, or "unreadable".
    """

    kind: str
    uuid: str = ""
    label: str = ""

    def to_json(self) -> dict[str, Any]:
        return {name: text for name, text in vars(self).items() if text}


def _content(document: dict[str, Any]) -> Content | None:
    found = document.get("content")
    return Content(**known_fields(Content, found)) if found else None


def _with_content(document: dict[str, Any], content: Content | None) -> dict[str, Any]:
    """The document, with what is known of the content in it."""
    rest = {name: value for name, value in document.items() if name != "content"}
    return {**rest, "content": content.to_json()} if content else rest


@dataclass(frozen=True)
class Partition:
    """One partition. ``identifier`` as in a volume's identity; LBAs in logical blocks, the last inclusive.

    ``type`` is a type GUID in lower case, or "mbr:" and two hex digits. ``content`` is what it holds, None
    where that was not recorded.
    """

    number: int
    identifier: str
    type: str
    first_lba: int
    last_lba: int
    attributes: int = 0
    name: str = ""
    content: Content | None = None

    def to_json(self) -> dict[str, Any]:
        return _with_content(dict(vars(self)), self.content)

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> Partition:
        return cls(**{**known_fields(cls, document), "content": _content(document)})


@dataclass(frozen=True)
class Disk:
    """One disk: its table's identifier, where it is attached, and its partitions.

    ``key`` is "gpt:GUID", "mbr:SIGNATURE" or, without a table, "at:ADDRESS". ``address`` is the sysfs path of
    the device below /sys/devices; ``ports`` holds what else tells the bus address (an ATA port number counted
    from 1, an NVMe namespace). ``size`` in bytes. ``content`` as a partition's, of a disk without a table.
    """

    key: str
    table: str
    address: str
    size: int
    block_size: int
    removable: bool
    model: str
    ports: dict[str, int]
    partitions: tuple[Partition, ...]
    problems: tuple[str, ...] = ()
    content: Content | None = None

    def to_json(self) -> dict[str, Any]:
        document = _with_content(dict(vars(self)), self.content)
        document["partitions"] = [partition.to_json() for partition in self.partitions]
        document["problems"] = list(self.problems)
        return document

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> Disk:
        partitions = tuple(Partition.from_json(item) for item in document["partitions"])
        problems = tuple(document["problems"])
        known = known_fields(cls, document)
        return cls(**{**known, "partitions": partitions, "problems": problems, "content": _content(document)})
