"""A text as plain lines of limited width."""

from __future__ import annotations

from collections.abc import Iterable

from bootwatch.tell.layout import wrapped
from bootwatch.tell.plain import columns, plain
from bootwatch.tell.text import Block, Bullets, Item, Paragraph, Section, Table, Text

WIDTH = 74
_INDENT = "    "


def laid_out(text: Text, width: int = WIDTH) -> str:
    """All of it in lines of at most ``width`` columns, ending with a newline."""
    parts = [wrapped(text.lead, width), *(_section(one, width) for one in text.sections)]
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def _section(section: Section, width: int) -> list[str]:
    lines = wrapped(section.heading.upper(), width) if section.heading else []
    before: Block | None = None
    for block in section.blocks:
        # A list goes on with the sentence that leads to it.
        if lines and not (isinstance(block, Bullets) and isinstance(before, Paragraph)):
            lines.append("")
        lines += _block(block, width)
        before = block
    return lines


def _block(block: Block, width: int) -> list[str]:
    if isinstance(block, Item):
        return _item(block, width)
    if isinstance(block, Bullets):
        return [line for one in block.sentences for line in wrapped(one, width, "  - ")]
    if isinstance(block, Table):
        return list(_rows(block.rows, width))
    return wrapped(block.text, width)


def _item(item: Item, width: int) -> list[str]:
    lines = wrapped(item.headline, width, f"{item.number:2}. ")
    room = max((columns(word) for word, _ in item.rows), default=0) + 2
    for word, said in item.rows:
        lines += wrapped(said, width, f"{_INDENT}{word + ':':<{room}}")
    return lines + (wrapped(item.rest, width, _INDENT) if item.rest else [])


def _rows(rows: Iterable[tuple[str, str]], width: int) -> Iterable[str]:
    known = [(plain(wish), said) for wish, said in rows]
    room = max((columns(wish) for wish, _ in known), default=0) + 4
    for wish, said in known:
        yield from wrapped(said, width, f"  {wish}{' ' * (room - columns(wish))}")
