"""Names of other files in a program's text."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from bootwatch.model.volume import ENTRIES_FOLDER
from bootwatch.observe.mentions import mentions
from tests.formats.tools import run
from tests.pace import Stopwatch


def wide(text: str) -> bytes:
    return text.encode("utf-16-le")


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"\0%s/boot.cfg\0", "boot.cfg"),
        (b"\0source $prefix/Boot.cfg\n", "boot.cfg"),
        (wide("\0\\EFI\\fernwick\\menu.conf\0"), "menu.conf"),
        (wide("\0\\\\stagex64.efi\0"), "stagex64.efi"),
        (b"\0STAGEX64.EFI\0", "stagex64.efi"),
        (wide("\0\\loader\\entries\0"), ENTRIES_FOLDER),
        (b"\0/loader/entries/\0", ENTRIES_FOLDER),
        (wide("\0Put files into \\loader\\entries\\*.conf\0"), ENTRIES_FOLDER),
    ],
)
def test_names(data: bytes, found: str) -> None:
    for place in (data, b"\x90" * 301 + data + b"\xff" * 40, b"\0" + data * 3):
        assert mentions(place) == (found,)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        wide("\0\\EFI\\quarry\\startx64.efi\0"),  # where another system's loader would be
        wide("\0Could not get image for stagex64.efi\0"),
        b"\0add-symbol-file /usr/lib/debug/usr/stagex64.efi\0",
        wide("\0*.efi\0.efi\0.conf\0"),
        b"\0" + b"x" * 70 + b".efi\0",
    ],
)
def test_what_names_no_neighbour_and_no_settings(data: bytes) -> None:
    assert mentions(data) == ()


def test_agrees_with_strings(tmp_path: Path) -> None:
    """What binutils' strings finds in the same bytes, in both encodings."""
    texts = ["boot.cfg", "%s/menu.conf", "\\stagex64.efi", "\\loader\\entries", "no file"]
    data = bytes(range(256)).join(
        [*(text.encode() + b"\0" for text in texts), *(b"\0" + wide(text + "\0") for text in texts[::-1])]
    )
    path = tmp_path / "program"
    path.write_bytes(data)
    seen = {line.strip() for how in ("-es", "-el") for line in run("strings", how, path).splitlines()}
    names = {name.lower() for line in seen for name in re.findall(r"[\w.]+\.(?:cfg|conf|efi)$", line)}
    assert set(mentions(data)) == names | {ENTRIES_FOLDER}


@pytest.mark.parametrize("piece", [b".efi", b"a.efi", wide(".efi"), b"a" * 200 + b".efi\0", b"x .conf", b"a"])
def test_hostile_text_costs_little(piece: bytes) -> None:
    data = piece * ((8 << 20) // len(piece))
    watch = Stopwatch()
    assert len(mentions(data)) <= 32
    assert watch.seconds() < 0.5


def test_bounded() -> None:
    data = b"\0".join(b"a%d.conf" % number for number in range(100))
    assert len(mentions(data)) == 32
