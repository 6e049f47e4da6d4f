"""Firmware variables, as bytes."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

GLOBAL = "8be4df61-93ca-11d2-aa0d-00e098032b8c"
IMAGE_SECURITY = "d719b2cb-3d3a-4596-a3bc-dad00e67656f"
SHIM_MIRROR = "605dab50-e046-4300-abb6-3dd810dd8b23"
LOADER_INTERFACE = "4a67b082-0a4c-41cf-b6c7-440b29bb8c4f"

_FILE_NAME = re.compile(r"(.+)-([0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12})", re.IGNORECASE)

# Four upper-case hex digits: firmware ignores any other spelling.
_ENTRY = re.compile(rf"Boot([0-9A-F]{{4}})-{GLOBAL}")


@dataclass(frozen=True)
class Variable:
    """One firmware variable: attributes (UEFI 2.10 §8.2) and the untouched data."""

    attributes: int
    data: bytes

    def to_json(self) -> dict[str, Any]:
        return {"attributes": self.attributes, "data": self.data.hex()}

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> Variable:
        return cls(document["attributes"], bytes.fromhex(document["data"]))


def split_file_name(file_name: str) -> tuple[str, str] | None:
    """(name, namespace GUID in lower case) of a file in efivarfs, or None when it isn't one."""
    match = _FILE_NAME.fullmatch(file_name)
    return (match[1], match[2].lower()) if match else None


def key(name: str, namespace: str = GLOBAL) -> str:
    """The name of a variable's file in efivarfs."""
    return f"{name}-{namespace}"


def entry_number(file_name: str) -> int | None:
    """The number of the boot entry whose variable this is; None for any other variable."""
    match = _ENTRY.fullmatch(file_name)
    return int(match[1], 16) if match else None
