"""Sheets as pages to be printed on A4, which can also be read on a narrow screen, in light and dark.

Nothing is loaded and nothing runs. Every text is made harmless and escaped where it is put between tags.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterable, Sequence

from bootwatch.tell.owner_words import KEPT
from bootwatch.tell.plain import plain
from bootwatch.tell.text import Block, Bullets, Item, Section, Table, Text, Weight

_ENOUGH = 4000
# What is typed or compared letter by letter.
_LETTERS = frozenset({"run", "type", "path", "id", "file"})
_TIME = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d UTC")
_STYLE = """
:root { color-scheme: light dark; }
body { margin: 0 auto; padding: 16px 14px; max-width: 760px; background: #fff; color: #000;
  font: 16px/1.45 system-ui, sans-serif; overflow-wrap: anywhere; }
h1 { margin: 0 0 6px; font-size: 1.6em; line-height: 1.2; }
h2 { margin: 16px 0 4px; padding-top: 5px; border-top: 1px solid; font-size: 1.1em; }
h2::first-letter { text-transform: uppercase; }
p, ul { margin: 5px 0; }
ul { padding-left: 20px; }
.todo { margin: 10px 0; padding: 4px 12px; border: 2px solid; }
.todo h2 { margin: 0; border: 0; }
.item { margin: 9px 0; }
.headline { margin: 0; font-weight: 600; }
dl { display: grid; grid-template-columns: fit-content(45%) minmax(0, 1fr); gap: 1px 10px; margin: 2px 0 0; }
dt { padding-left: 1em; }
dd { margin: 0; }
.time { white-space: nowrap; }
code { font: 0.94em ui-monospace, monospace; }
.page + .page { margin-top: 40px; }
.owner { font-size: 20pt; line-height: 1.35; }
.owner h1 { font-size: 24pt; }
.owner p { margin: 1em 0; }
@media screen and (prefers-color-scheme: dark) { body { background: #17181c; color: #ecebe7; } }
@media print {
  body { max-width: none; padding: 0; font-size: 8.8pt; line-height: 1.25; }
  .page + .page { margin-top: 0; break-before: page; }
  .item, .todo, li { break-inside: avoid; }
  .item { margin: 5px 0; }
  h2 { margin-top: 9px; break-after: avoid; }
}
"""


def sheet_page(pages: Sequence[Text], title: str) -> str:
    """A technician's sheet: each text begins a new page."""
    return _page(title, "en", "A4", "\n".join(map(_text, pages)))


def owner_page(lines: Sequence[str], language: str) -> str:
    """An owner's: a title and a few lines, in large print, and so on a page that is wider than high."""
    title, *rest = (_safe(line).replace(KEPT, "&nbsp;") for line in lines)
    said = "\n".join(f"<p>{line}</p>" for line in rest)
    body = f'<main class="page owner">\n<h1>{title}</h1>\n{said}\n</main>'
    return _page(lines[0].replace(KEPT, " "), language, "A4 landscape", body)


def _page(title: str, language: str, paper: str, body: str) -> str:
    return (
        f'<!DOCTYPE html>\n<html lang="{_safe(language)}" dir="ltr">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width">\n'
        f"<title>{_safe(title)}</title>\n"
        f"<style>\n@page {{ size: {paper}; margin: 11mm 13mm; }}{_STYLE}</style>\n"
        f"</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _safe(text: str) -> str:
    return html.escape(plain(text, _ENOUGH))


def _text(text: Text) -> str:
    inside = "\n".join(map(_section, text.sections))
    return f'<main class="page">\n<h1>{_safe(text.lead)}</h1>\n{inside}\n</main>'


def _section(section: Section) -> str:
    heading = [f"<h2>{_safe(section.heading)}</h2>"] if section.heading else []
    inside = "\n".join([*heading, *map(_block, section.blocks)])
    return f'<section class="todo">\n{inside}\n</section>' if section.weight is Weight.TODO else inside


def _block(block: Block) -> str:
    if isinstance(block, Item):
        rest = f"\n<p>{_safe(block.rest)}</p>" if block.rest else ""
        headline = f'<p class="headline">{block.number}. {_safe(block.headline)}</p>'
        return f'<div class="item">\n{headline}\n{_rows(block.rows)}{rest}\n</div>'
    if isinstance(block, Bullets):
        return "<ul>\n{}\n</ul>".format("\n".join(f"<li>{_safe(one)}</li>" for one in block.sentences))
    if isinstance(block, Table):
        return _rows(block.rows)
    said = _TIME.sub(r'<span class="time">\g<0></span>', _safe(block.text))
    return f"<p>{said}</p>"


def _rows(rows: Iterable[tuple[str, str]]) -> str:
    lines = (f"<dt>{_safe(word)}</dt><dd>{_said(word, said)}</dd>" for word, said in rows)
    return "<dl>\n{}\n</dl>".format("\n".join(lines))


def _said(word: str, said: str) -> str:
    return f"<code>{_safe(said)}</code>" if word in _LETTERS else _safe(said)
