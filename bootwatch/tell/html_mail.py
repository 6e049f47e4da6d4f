"""A message as HTML for mail: nothing in it is loaded, nothing runs, and it reads without its styles.

Every text is made harmless and escaped where it is put between tags, and nowhere else.
"""

from __future__ import annotations

import html
import re

from bootwatch.tell.html_style import LOOKS, attributes, sheet
from bootwatch.tell.plain import plain
from bootwatch.tell.text import Block, Bullets, Item, Section, Table, Text, Weight

_ENOUGH = 4000
# Short enough for a line of the narrowest screen. Identifiers are longer, and broken where the line ends.
_HYPHENED = re.compile(r"(?<!\S)(\w[\w-]{0,8}-[\w-]{0,8}\w)(?![\w-])")


def html_of(text: Text, subject: str) -> str:
    """A whole page for a technician, of the same pieces as the plain text."""
    level = text.level.value if text.level and text.level.value in LOOKS else "well"
    # The level is said in words too: not everybody sees its colour.
    mark = _tag("p", text.mark, "mark", level)
    parts = [mark, _tag("h1", text.lead, "lead"), *map(_section, text.sections)]
    return _page(subject, "en", parts)


def owner_html(title: str, body: str, language: str) -> str:
    """A whole page for the owner: few words, in large letters. ``body``: paragraphs, a blank line between."""
    said = [" ".join(part.split()) for part in body.split("\n\n") if part.strip()]
    return _page(
        title, language, [_tag("h1", title, "owner-title"), *(_tag("p", one, "owner") for one in said)]
    )


def _page(title: str, language: str, parts: list[str]) -> str:
    card = f"<main {attributes('card')}>\n{chr(10).join(parts)}\n</main>"
    return (
        f'<!DOCTYPE html>\n<html lang="{_safe(language)}" dir="ltr">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width">\n'
        '<meta name="color-scheme" content="light dark">\n'
        '<meta name="supported-color-schemes" content="light dark">\n'
        f"<title>{_safe(title)}</title>\n<style>{sheet()}</style>\n</head>\n"
        f"<body {attributes('page')}>\n{card}\n</body>\n</html>\n"
    )


def _safe(text: str) -> str:
    return html.escape(plain(text, _ENOUGH))


def _tag(name: str, text: str, *looks: str) -> str:
    return f"<{name} {attributes(*looks)}>{_words(text)}</{name}>"


def _words(text: str) -> str:
    """Dates and names of machines are not broken at their hyphens."""
    pieces = _HYPHENED.split(plain(text, _ENOUGH))
    return "".join(
        f"<span {attributes('whole')}>{html.escape(piece)}</span>" if odd % 2 else html.escape(piece)
        for odd, piece in enumerate(pieces)
    )


# sections


def _section(section: Section) -> str:
    is_todo = section.weight is Weight.TODO
    heading = _tag("h2", section.heading, "todo-heading" if is_todo else "heading") if section.heading else ""
    inside = "\n".join(part for part in (heading, *map(_block, section.blocks)) if part)
    if section.weight is Weight.USUAL:
        return inside
    return f"<div {attributes(section.weight.value)}>\n{inside}\n</div>"


def _block(block: Block) -> str:
    if isinstance(block, Item):
        return _item(block)
    if isinstance(block, Bullets):
        points = "\n".join(_tag("li", one, "point") for one in block.sentences)
        return f"<ul {attributes('list')}>\n{points}\n</ul>"
    if isinstance(block, Table):
        return "\n".join(_row(wish, said) for wish, said in block.rows)
    return _tag("p", block.text, "said")


def _row(wish: str, said: str) -> str:
    return f"<p {attributes('wish-row')}>{_tag('span', wish, 'wish')} {_tag('span', said, 'command')}</p>"


def _item(item: Item) -> str:
    rows = [
        f"<p {attributes('row')}><span {attributes('word')}>{_safe(word)}:</span> {_words(said)}</p>"
        for word, said in item.rows
    ]
    headline = _tag("p", f"{item.number}. {item.headline}", "headline")
    rest = [_tag("p", item.rest, "said")] if item.rest else []
    return f"<div {attributes('item')}>\n{chr(10).join([headline, *rows, *rest])}\n</div>"
