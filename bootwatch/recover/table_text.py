"""Partition tables as `sfdisk --dump` writes them, so that sfdisk can write them again."""

from __future__ import annotations

from bootwatch.judge.pairs import plain
from bootwatch.model.disk import Disk, Partition

# UEFI 2.10 §5.3.3: what the lowest bits mean, as sfdisk calls them; from 48 on they belong to the type.
_BITS = {0: "RequiredPartition", 1: "NoBlockIOProtocol", 2: "LegacyBIOSBootable"}
_ENTRIES = 128 * 128  # bytes of the usual table, behind two blocks of its own
_FIRST_OF_TYPE, _LAST_OF_TYPE = 48, 63


def table_text(disk: Disk) -> str | None:
    """The table of one disk; None for a disk without one, and for a kind that sfdisk doesn't write."""
    own = plain(disk.key).partition(":")[2]
    if disk.table == "gpt":
        # Otherwise sfdisk takes nothing that begins below the first megabyte.
        first = 2 + -(-_ENTRIES // disk.block_size)
        head = ["label: gpt", f"label-id: {own.upper()}", f"first-lba: {first}"]
        lines = [_gpt_line(part) for part in disk.partitions]
    elif disk.table == "mbr":
        head = ["label: dos", f"label-id: 0x{own}"]
        lines = [_mbr_line(part) for part in disk.partitions]
    else:
        return None
    head += ["unit: sectors", f"sector-size: {disk.block_size}", ""]
    return "\n".join([*head, *lines]) + "\n"


def _gpt_line(part: Partition) -> str:
    fields = [
        *_place(part),
        f"type={part.type.upper()}",
        f"uuid={part.identifier.partition(':')[2].upper()}",
    ]
    if part.name:
        fields.append(f'name="{_quoted(part.name)}"')
    if part.attributes:
        fields.append(f'attrs="{_attributes(part.attributes)}"')
    return f"part{part.number} : {', '.join(fields)}"


def _mbr_line(part: Partition) -> str:
    fields = [*_place(part), f"type={part.type.removeprefix('mbr:')}"]
    return f"part{part.number} : {', '.join(fields)}"


def _place(part: Partition) -> list[str]:
    return [f"start={part.first_lba}", f"size={part.last_lba - part.first_lba + 1}"]


def _attributes(bits: int) -> str:
    words = [word for bit, word in _BITS.items() if bits >> bit & 1]
    own = [str(bit) for bit in range(_FIRST_OF_TYPE, _LAST_OF_TYPE + 1) if bits >> bit & 1]
    return " ".join([*words, *([f"GUID:{','.join(own)}"] if own else [])])


def _quoted(name: str) -> str:
    """sfdisk reads every byte again that is written as \\xHH."""
    plain_ones = (letter.isalnum() or letter in " ._-+()" for letter in name)
    return "".join(
        letter if fine and letter.isascii() else "".join(f"\\x{byte:02x}" for byte in _bytes(letter))
        for letter, fine in zip(name, plain_ones, strict=True)
    )


def _bytes(letter: str) -> bytes:
    return letter.encode("utf-8", "surrogatepass")
