"""The owner's catalogs: what the code says, what a catalog translates, and making the compiled one.

`python -m tests.tell.catalog` compiles every catalog anew, after its texts were changed.
"""

from __future__ import annotations

import ast
import struct
from collections.abc import Iterator
from pathlib import Path

from bootwatch.tell.owner_words import CATALOGS, DOMAIN

SOURCES = sorted((CATALOGS.parent).glob("owner*.py"))
# How many of their first arguments are texts.
_SPEAK = {"say": 1, "say_many": 2, "_of_systems": 2}
# GNU gettext manual, "The Format of GNU MO Files".
_MAGIC = 0x950412DE
_HEADER = struct.Struct("<7I")
_PLACE = struct.Struct("<2I")

Message = tuple[str, ...]
"""A text, or one for a single thing and one for several."""


def said() -> set[Message]:
    """Every text of the code that a catalog has to translate."""
    return {message for file in SOURCES for message in _said(ast.parse(file.read_text("utf-8")))}


def _said(tree: ast.Module) -> Iterator[Message]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            texts = [one.value for one in node.args[: _SPEAK.get(called, 0)] if isinstance(one, ast.Constant)]
            if texts:
                yield tuple(str(one) for one in texts)


def catalogs() -> list[Path]:
    return sorted(CATALOGS.glob(f"*/LC_MESSAGES/{DOMAIN}.po"))


def read(file: Path) -> dict[Message, Message]:
    """A catalog's texts with their translations; its header under ("",)."""
    found: dict[Message, Message] = {}
    for block in file.read_text("utf-8").split("\n\n"):
        fields: list[list[str]] = []
        for line in block.splitlines():
            if line.startswith("msg"):
                key, _, text = line.partition(" ")
                fields.append([key, ast.literal_eval(text)])
            elif line.startswith('"'):
                fields[-1][1] += ast.literal_eval(line)
        own = tuple(text for key, text in fields if key.startswith("msgid"))
        if not own or own in found:
            raise ValueError(f"{file}: no text of its own: {block}")
        found[own] = tuple(text for key, text in fields if key.startswith("msgstr"))
    return found


def compiled(catalog: dict[Message, Message]) -> bytes:
    """The catalog as gettext reads it: tables of lengths and places, in the order of the texts' bytes."""
    pairs = sorted(("\0".join(own).encode(), "\0".join(other).encode()) for own, other in catalog.items())
    count, tables, data = len(pairs), b"", b""
    begin = _HEADER.size + 2 * count * _PLACE.size
    for column in (0, 1):
        for pair in pairs:
            tables += _PLACE.pack(len(pair[column]), begin + len(data))
            data += pair[column] + b"\0"
    others = _HEADER.size + count * _PLACE.size
    return _HEADER.pack(_MAGIC, 0, count, _HEADER.size, others, 0, begin) + tables + data


if __name__ == "__main__":
    for one in catalogs():
        one.with_suffix(".mo").write_bytes(compiled(read(one)))
