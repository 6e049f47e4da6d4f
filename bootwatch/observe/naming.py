"""Which volumes the machine itself names: in boot entries, fstab and mounts."""

from __future__ import annotations

from collections.abc import Iterable

from bootwatch.formats import FormatError
from bootwatch.formats.load_option import LoadOption
from bootwatch.model.disk import hard_drive_identifier
from bootwatch.model.path import fold
from bootwatch.model.variable import Variable, split_file_name
from bootwatch.observe.mounts import FstabLine

_MOST_TOPS = 64


def named_by_entries(variables: dict[str, Variable]) -> set[str]:
    """The partitions that any boot entry names."""
    named = set()
    for file_name, variable in variables.items():
        split = split_file_name(file_name)
        if split and split[0].startswith("Boot") and len(split[0]) == 8:
            named.add(_target(variable.data))
    return {identifier for identifier in named if identifier}


def tops_of_entries(variables: dict[str, Variable]) -> set[str]:
    """Names in a volume's root, in upper case, that mark it as one to start from: EFI, and what entries
    name without saying on which partition."""
    tops = {"EFI"}
    for file_name, variable in variables.items():
        split = split_file_name(file_name)
        if split and split[0].startswith("Boot") and len(split[0]) == 8:
            tops.add(_top(variable.data))
        if len(tops) > _MOST_TOPS:
            break
    return tops - {""}


def _top(data: bytes) -> str:
    try:
        path = LoadOption.parse(data).path
    except FormatError:
        return ""
    return "" if path.hard_drive() else fold((path.file() or "").strip("\\").partition("\\")[0])


def _target(data: bytes) -> str | None:
    try:
        node = LoadOption.parse(data).path.hard_drive()
    except FormatError:
        return None
    return hard_drive_identifier(node.signature_type, node.signature, node.partition_number) if node else None


def names_volume(
    lines: Iterable[FstabLine], identifier: str | None, name: str, serial: str, label: str, node: str
) -> bool:
    """Whether fstab names a volume: by its partition's UUID or ``name``, its own UUID or label, its node."""
    partuuid = identifier.partition(":")[2] if identifier else ""
    names = {f"UUID={serial}".lower(), f"/dev/disk/by-uuid/{serial}".lower(), f"/dev/{node}".lower()}
    if partuuid:
        names |= {f"partuuid={partuuid}", f"/dev/disk/by-partuuid/{partuuid}"}
    if name:
        names |= {f"partlabel={name}".lower(), f"/dev/disk/by-partlabel/{name}".lower()}
    if label:
        names |= {f"label={label}".lower(), f"/dev/disk/by-label/{label}".lower()}
    return any(line.source.lower() in names for line in lines)
