"""Mails as a browser shows them: measured on the page, in frames of several widths, light and dark."""

from __future__ import annotations

import html
import json
import re
import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import Any

WIDTHS = (360, 900)
# Measures each frame: how wide its content is, and every text's colour, ground and size.
_SCRIPT = """
<script>
const found = [];
const ground = (element) => {
  for (; element; element = element.parentElement) {
    const colour = getComputedStyle(element).backgroundColor;
    if (colour !== 'rgba(0, 0, 0, 0)') return colour;
  }
  return 'none';
};
const look = (frame) => {
  const page = frame.contentDocument, texts = [];
  const walker = page.createTreeWalker(page.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    if (!walker.currentNode.data.trim()) continue;
    const element = walker.currentNode.parentElement, style = getComputedStyle(element);
    texts.push([walker.currentNode.data.trim().slice(0, 60), style.color, ground(element),
                parseFloat(style.fontSize)]);
  }
  found.push({name: frame.name, width: frame.contentWindow.innerWidth,
              content: page.documentElement.scrollWidth,
              height: page.documentElement.scrollHeight,
              loaded: frame.contentWindow.performance.getEntriesByType('resource').length, texts});
};
onload = () => {
  document.querySelectorAll('iframe').forEach(look);
  document.body.textContent = '@' + JSON.stringify(found) + '@';
};
</script>
"""


@dataclass(frozen=True)
class Shown:
    """One page at one width. ``texts``: what is said, its colour, its ground and its size in pixels."""

    name: str
    width: int
    content: int
    loaded: int
    texts: tuple[tuple[str, str, str, float], ...]


def shown(pages: dict[str, str], folder: Path, *, dark: bool) -> list[Shown]:
    """All ``pages`` (HTML by name) at every width, in one start of the browser."""
    frames = "\n".join(
        f'<iframe name="{name}" style="border:0;width:{width}px;height:400px" srcdoc="{html.escape(page)}">'
        "</iframe>"
        for name, page in pages.items()
        for width in WIDTHS
    )
    file = folder / "pages.html"
    file.write_text(f'<!DOCTYPE html><meta charset="utf-8">{_SCRIPT}<body>{frames}</body>', "utf-8")
    arguments = [
        "chromium", "--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
        f"--user-data-dir={folder / 'profile'}", "--host-resolver-rules=MAP * ~NOTFOUND",
        f"--blink-settings=preferredColorScheme={0 if dark else 1}",
        "--window-size=1000,800", "--virtual-time-budget=5000", "--dump-dom", file.as_uri(),
    ]  # fmt: skip
    said = subprocess.run(arguments, capture_output=True, text=True, timeout=120, check=True).stdout
    (measured,) = re.findall(r"@(\[.*\])@", said, re.DOTALL)
    found: list[dict[str, Any]] = json.loads(html.unescape(measured))
    return [
        Shown(one["name"], one["width"], one["content"], one["loaded"], tuple(map(tuple, one["texts"])))
        for one in found
    ]


def contrast(colour: str, ground: str) -> float:
    """The ratio of WCAG 2.2 between two colours as a browser computes them: "rgb(1, 2, 3)"."""
    first, second = sorted((_luminance(colour), _luminance(ground)), reverse=True)
    return (first + 0.05) / (second + 0.05)


def _luminance(colour: str) -> float:
    found = re.fullmatch(r"rgb\((\d+), (\d+), (\d+)\)", colour)
    assert found, f"{colour} is not opaque"
    red, green, blue = (_linear(int(part) / 255) for part in found.groups())
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _linear(part: float) -> float:
    return part / 12.92 if part <= 0.04045 else float(((part + 0.055) / 1.055) ** 2.4)


def printed(page: str, folder: Path) -> int:
    """How many pages of paper it takes."""
    file, made = folder / "printed.html", folder / "printed.pdf"
    file.write_text(page, "utf-8")
    arguments = [
        "chromium", "--headless=new", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
        f"--user-data-dir={folder / 'profile'}", "--host-resolver-rules=MAP * ~NOTFOUND",
        f"--print-to-pdf={made}", file.as_uri(),
    ]  # fmt: skip
    subprocess.run(arguments, capture_output=True, timeout=120, check=True)
    # ISO 32000-1, 7.7.3: each page is an object of the type Page, the trees above them of Pages.
    return len(re.findall(rb"/Type\s*/Page\b", made.read_bytes()))
