"""Colours and measures of mails. Each element carries its light colours itself, so that a client which drops
style sheets shows black on white; the sheet only turns them dark where the reader prefers that.

Every pair of text and ground has a contrast of 4.5 to 1 at least, in both.
"""

from __future__ import annotations

from dataclasses import dataclass

_PLAIN = "system-ui,sans-serif"
_FIXED = "ui-monospace,monospace"


@dataclass(frozen=True)
class Look:
    """How one class of elements looks: in light as CSS, and what of it is otherwise in the dark."""

    light: str
    dark: str = ""


LOOKS: dict[str, Look] = {
    "page": Look(
        f"margin:0;padding:16px 8px;background:#efece6;color:#1f1d1a;font:16px/1.5 {_PLAIN};",
        "background:#15161a;color:#ecebe7;",
    ),
    "card": Look(
        "max-width:680px;margin:0 auto;padding:20px 16px;background:#ffffff;border:1px solid #d8d3c9;"
        "border-radius:10px;color:#1f1d1a;overflow-wrap:anywhere;",
        "background:#202228;border-color:#3a3d45;color:#ecebe7;",
    ),
    "lead": Look("margin:12px 0 0;font-size:21px;line-height:1.35;font-weight:600;"),
    "heading": Look(
        "margin:28px 0 8px;padding-top:12px;border-top:1px solid #e3dfd6;font-size:17px;line-height:1.3;",
        "border-color:#3a3d45;",
    ),
    "said": Look("margin:8px 0;"),
    "list": Look("margin:8px 0;padding-left:22px;"),
    "point": Look("margin:6px 0;"),
    "item": Look("margin:14px 0;padding-left:12px;border-left:3px solid #b9b2a5;", "border-color:#5b606b;"),
    "headline": Look("margin:0 0 4px;font-weight:600;"),
    "row": Look("margin:2px 0;"),
    "whole": Look("white-space:nowrap;"),
    "word": Look("color:#5a554c;", "color:#b5b3ad;"),
    "todo": Look(
        "margin:24px 0 8px;padding:12px 14px;background:#eef3fa;border-left:5px solid #2b5c9e;"
        "border-radius:6px;color:#1f1d1a;",
        "background:#1b2a3e;border-color:#7fb0ee;color:#ecebe7;",
    ),
    "todo-heading": Look("margin:0 0 6px;font-size:17px;line-height:1.3;"),
    "aside": Look("font-size:14px;color:#4c483f;", "color:#c3c1bb;"),
    "wish-row": Look("margin:7px 0;"),
    # Side by side where there is room, else one below the other.
    "wish": Look("display:inline-block;min-width:210px;color:#5a554c;", "color:#b5b3ad;"),
    "command": Look(f"display:inline-block;font-family:{_FIXED};"),
    "owner": Look("margin:18px 0;font-size:20px;line-height:1.5;"),
    "owner-title": Look("margin:0;font-size:27px;line-height:1.25;font-weight:700;"),
    "stranded": Look("background:#fbe3df;color:#8a1a0f;", "background:#4d1b15;color:#ffb9ae;"),
    "diverted": Look("background:#fdecd6;color:#7a4102;", "background:#472c0b;color:#ffcb8f;"),
    "weakened": Look("background:#faf2c6;color:#5d4e00;", "background:#3c3608;color:#f1df7c;"),
    "changed": Look("background:#e2ecf9;color:#1b4a83;", "background:#1c3350;color:#aecffb;"),
    "well": Look("background:#e0f1e4;color:#17592b;", "background:#163a22;color:#a6e0b5;"),
    "mark": Look(
        "display:inline-block;margin:0;padding:3px 12px;border-radius:999px;font-size:15px;font-weight:700;"
    ),
}


def attributes(*names: str) -> str:
    """Class and style of an element, for its tag."""
    style = "".join(LOOKS[name].light for name in names)
    return f'class="{" ".join(names)}" style="{style}"'


def sheet() -> str:
    """What is otherwise where the reader prefers the dark."""
    rules = " ".join(f".{name}{{{_firm(look.dark)}}}" for name, look in LOOKS.items() if look.dark)
    return f":root{{color-scheme:light dark;}} @media (prefers-color-scheme:dark){{ {rules} }}"


def _firm(declarations: str) -> str:
    """Above what the elements carry themselves."""
    return declarations.replace(";", " !important;")
