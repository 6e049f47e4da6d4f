"""The sheets of a recovery kit: two printed pages for a technician, six large lines for the owner."""

from __future__ import annotations

from bootwatch.keep.baseline import Baseline
from bootwatch.model.care import Care
from bootwatch.tell.layout import wrapped
from bootwatch.tell.owner_sheet import owner_sheet
from bootwatch.tell.owner_words import KEPT
from bootwatch.tell.sheet_facts import facts
from bootwatch.tell.sheet_page import owner_page, sheet_page
from bootwatch.tell.sheet_ways import Held, ways
from bootwatch.tell.text_lines import laid_out

WIDTH = 80
TECHNICIAN, OWNER = "sheet", "owner"


def sheets(baseline: Baseline, care: Care, key_at: str = "", held: Held | None = None) -> dict[str, bytes]:
    """Both sheets, each as a page to be printed and as plain text, by their names in a kit.

    ``key_at`` says where the disk encryption's key is kept; ``held`` is the kit that they lie in.
    """
    pages = (ways(baseline, care, key_at, held or Held()), facts(baseline, (held or Held()).lacks))
    lines = owner_sheet(baseline.machine, baseline.overview.get("routes") or {}, care, key_at)
    said = {
        f"{TECHNICIAN}.html": sheet_page(pages, pages[0].lead),
        f"{TECHNICIAN}.txt": f"\n{'-' * WIDTH}\n\n".join(laid_out(page, WIDTH) for page in pages),
        f"{OWNER}.html": owner_page(lines, care.language),
        f"{OWNER}.txt": "\n".join(map(_paragraph, lines)),
    }
    return {name: text.encode() for name, text in said.items()}


def _paragraph(line: str) -> str:
    return "".join(f"{one.replace(KEPT, ' ')}\n" for one in wrapped(line, WIDTH))
