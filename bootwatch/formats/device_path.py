"""Device paths: UEFI 2.10 §10.3.

Nodes one after the other: u8 type, u8 subtype, u16 length of the whole node, then its payload. An End node of
subtype 0xFF ends a device path, one of subtype 0x01 an instance of it. A load option's list may hold further
device paths after the first End node; their bytes are kept, but every view here is of the first path.
"""

import struct
from dataclasses import dataclass, field

from . import guid, utf16
from .device_path_fields import END, END_ENTIRE
from .device_path_text import least_size, node_text
from .device_path_text_media import FILE, HARD_DRIVE, HARD_DRIVE_NODE
from .problems import bounded

_HEADER = struct.Struct("<BBH")
_SIGNATURE_MBR = 1
_SIGNATURE_GPT = 2
MAX_NODES = 1024


@dataclass(frozen=True, slots=True)
class Node:
    """One node: its type, its subtype and its payload without the header of four bytes."""

    type: int
    subtype: int
    data: bytes

    def __bytes__(self) -> bytes:
        return _HEADER.pack(self.type, self.subtype, _HEADER.size + len(self.data)) + self.data

    def __str__(self) -> str:
        return node_text(self.type, self.subtype, self.data)


@dataclass(frozen=True, slots=True)
class HardDrive:
    """A hard drive node (§10.3.5.1): one partition. `start` and `size` count the disk's logical blocks.

    `signature` is spelled as Linux spells it: the PARTUUID in lower case for `signature_type` 2, the MBR's
    signature as eight hex digits for 1, the 16 stored bytes in hex for any other.
    """

    partition_number: int
    start: int
    size: int
    signature_type: int
    signature: str


@dataclass(frozen=True, slots=True)
class DevicePath:
    """The first device path of a list, and the list's bytes untouched.

    `nodes` holds the first path's nodes without its last End node; End-of-instance nodes are among them.
    `rest` is what follows that End node. `problems` says what is wrong and at which byte.
    """

    raw: bytes
    nodes: tuple[Node, ...]
    rest: bytes = b""
    problems: list[str] = field(default_factory=list)

    @classmethod
    def parse(cls, data: bytes) -> "DevicePath":
        """Read a list of device paths. Never fails: what cannot be read is named in `problems`.

        >>> path = DevicePath.parse(bytes.fromhex("02010c00d041030a00000000 0101060000 1f 7fff0400"))
        >>> str(path), path.problems
        ('PciRoot(0x0)/Pci(0x1F,0x0)', [])
        """
        data = bytes(data)
        nodes: list[Node] = []
        problems: list[str] = []
        rest = _collect(data, nodes, problems)
        return cls(data, tuple(nodes), rest, bounded(problems))

    def __bytes__(self) -> bytes:
        return self.raw

    def __str__(self) -> str:
        """The text form of UEFI 2.10 §10.6, as edk2 prints it with DisplayOnly and AllowShortcuts false."""
        text = ""
        for node in self.nodes:
            separator = "/" if text and node.type != END else ""
            text += separator + str(node)
        return text

    @property
    def is_complete(self) -> bool:
        """Whether the nodes are followed by an End node, as they must be for a firmware to accept them."""
        return self._end_size is not None

    @property
    def is_valid(self) -> bool:
        """Whether edk2 takes the first path: it is complete, its End node is just a header, and each file
        node ends with a NUL."""
        if self._end_size != _HEADER.size:
            return False
        return all(bytes(node).endswith(b"\0\0") for node in self.nodes if (node.type, node.subtype) == FILE)

    @property
    def _end_size(self) -> int | None:
        """The size in bytes of the End node behind the nodes; None where there is none that is whole."""
        at = sum([_HEADER.size + len(node.data) for node in self.nodes])
        if len(self.raw) - at < _HEADER.size:
            return None
        kind, subtype, length = _HEADER.unpack_from(self.raw, at)
        is_whole = (kind, subtype) == (END, END_ENTIRE) and _HEADER.size <= length <= len(self.raw) - at
        return int(length) if is_whole else None

    def hard_drive(self) -> HardDrive | None:
        """The first instance's first well-formed hard drive node, wherever it stands."""
        for node in self._first_instance():
            if (node.type, node.subtype) == HARD_DRIVE and len(node.data) >= HARD_DRIVE_NODE.size:
                return _hard_drive(node.data)
        return None

    def file(self) -> str | None:
        """The file that the first instance names, with backslashes and a leading one; None if it names none.

        File nodes that follow each other are joined with one backslash.
        """
        parts: list[str] = []
        for node in self._first_instance():
            if (node.type, node.subtype) == FILE:
                parts.append(utf16.until_nul(node.data))
            elif parts:
                break
        return _join(parts)

    def _first_instance(self) -> tuple[Node, ...]:
        for index, node in enumerate(self.nodes):
            if node.type == END:
                return self.nodes[:index]
        return self.nodes


def _collect(data: bytes, nodes: list[Node], problems: list[str]) -> bytes:
    """Fill `nodes` up to the End node; return the bytes after it."""
    at = 0
    while len(data) - at >= _HEADER.size:
        kind, subtype, length = _HEADER.unpack_from(data, at)
        if length < _HEADER.size or length > len(data) - at:
            problems.append(
                f"node at byte {at}: length {length} does not fit ({len(data) - at} bytes are left)"
            )
            return b""
        if kind == END and subtype == END_ENTIRE:
            if length != _HEADER.size:
                problems.append(f"End node at byte {at}: {length} bytes, not {_HEADER.size}")
            return data[at + length :]
        if len(nodes) == MAX_NODES:
            problems.append(f"more than {MAX_NODES} nodes: those from byte {at} on are not looked at")
            return b""
        nodes.append(Node(kind, subtype, data[at + _HEADER.size : at + length]))
        _check(nodes[-1], at, problems)
        at += length
    problems.append(f"no End node before byte {len(data)}, where the bytes end")
    return b""


def _check(node: Node, at: int, problems: list[str]) -> None:
    kind, size = (node.type, node.subtype), len(node.data)
    if kind == FILE and (size < 2 or node.data[-2:] != b"\0\0"):
        problems.append(f"file node at byte {at}: no NUL at its end")
    elif kind == HARD_DRIVE and size != HARD_DRIVE_NODE.size:
        problems.append(f"hard drive node at byte {at}: {size} bytes, not {HARD_DRIVE_NODE.size}")
    elif size < (least := least_size(*kind) or 0):
        problems.append(f"node at byte {at}: {size} bytes are too few for its type, which has {least}")


def _hard_drive(data: bytes) -> HardDrive:
    number, start, size, signature, _format, kind = HARD_DRIVE_NODE.unpack_from(data)
    if kind == _SIGNATURE_GPT:
        text = guid.from_bytes(signature)
    elif kind == _SIGNATURE_MBR:
        text = f"{int.from_bytes(signature[:4], 'little'):08x}"
    else:
        text = signature.hex()
    return HardDrive(number, start, size, kind, text)


def _join(parts: list[str]) -> str | None:
    if not any(parts):
        return None
    last = len(parts) - 1
    trimmed = [part.lstrip("\\") if index == last else part.strip("\\") for index, part in enumerate(parts)]
    return "\\" + "\\".join(part for part in trimmed if part)


__all__ = ["MAX_NODES", "DevicePath", "HardDrive", "Node"]
