"""The sheets: what stands on them, in both languages, from whatever a machine calls its things."""

from __future__ import annotations

import html
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from bootwatch.keep.baseline import Baseline
from bootwatch.model.care import UNKNOWN, Care
from bootwatch.model.disk import ESP
from bootwatch.model.snapshot import State
from bootwatch.tell.sheet import sheets
from bootwatch.tell.sheet_ways import Held
from tests.judge import states
from tests.tell.browser import contrast, printed, shown
from tests.tell.samples import HOSTILE, harmful
from tests.tell.test_owner import FORBIDDEN, IDENTIFIER

ANNA = Care("Anna Berg", "0123 456 789", "F12", "the red one", called={"Quarry": "the office system"})
GERMAN = replace(ANNA, language="de", stick="der rote", called={"Quarry": "das Bürosystem"})
FILE = "\\EFI\\fernwick\\loaderx64.efi"
PARTS = "1f3b7c58-2f0e-4a51-9a55-0f6a7d1c2e01", "6d0a41be-8c93-4d2f-b1c7-3e5f90a8d402"
OWN = "gpt:1f3b7c58-2f0e-4a51-9a55-0f6a7d1c2e01"
PATH = "HD(1,GPT,1F3B7C58-2F0E-4A51-9A55-0F6A7D1C2E01,0x800,0x2000)/" + FILE
NO_DATA = "e3b0c44298fc1c14"  # the beginning of SHA-256 of nothing


def route(label: str, system: str, **other: Any) -> dict[str, Any]:
    usual = {"entry": "Boot0000", "by": "BootOrder", "starts": True, "unattended": True, "through": None}
    return {**usual, "label": label, "system": system, "file": FILE, **other}


def entry(label: str, number: int = 0, **other: Any) -> dict[str, Any]:
    usual = {"active": True, "in_order": True, "firmware_made": False, "data": NO_DATA, "volume": OWN}
    named = {"entry": f"Boot{number:04X}", "label": label, "system": label, "file": FILE, "path": PATH}
    return {**usual, **named, **other}


def baseline(
    *labels: str, machine: str = "hall", reason: str = "both start", volume: str = "FERN"
) -> Baseline:
    """A machine whose systems are called as their entries are."""
    routes = [route(label, label) for label in labels]
    systems = [
        {"name": label, "removable": False, "routes": [one]}
        for label, one in zip(labels, routes, strict=True)
    ]
    first = {**route(labels[0], labels[0]), "certain": True, "outcome": "starts"}
    view = {
        "entries": [entry(label, number) for number, label in enumerate(labels)],
        "volumes": [
            {
                **{"volume": OWN, "partition": 1, "type": ESP, "label": volume, "disk": volume},
                **{"loaders": [FILE, "\\" + volume], "files": 2, "bytes": 9, "system": labels[0]},
            }
        ],
        "routes": {"next_start": first, "routes": routes, "systems": systems},
    }
    facts = {"vendor": reason, "product": machine, "firmware_version": volume}
    document = {"machine": machine, "saved": "2026-11-25T07:12:00Z", "reason": reason, "by": "root"}
    return Baseline({**document, "overview": view, "state": {"facts": facts}}, "0" * 64)


KIT = Held("hall-2026", "2026-11-25T07:15:00Z", ("startup.nsh", "entries.dmpstore"))
USUAL = baseline("Quarry", "Fernwick Linux")


def said(
    name: str, care: Care = ANNA, of: Baseline = USUAL, key_at: str = "", held: Held | None = None
) -> str:
    return sheets(of, care, key_at, held)[name].decode()


def test_owner() -> None:
    assert said("owner.txt", key_at="in the safe").split("\n\n") == [
        'When the computer "hall" does not start as usual',
        "Nothing is lost. Please do not install anything anew.",
        "Switch it on, and press F12 again and again until a list appears.",
        'Choose "Quarry" (the office system) or "Fernwick Linux" with the arrow keys, and\npress Enter.',
        "If that does not help: plug in the stick (the red one) and call Anna Berg,\n0123 456 789.",
        "If it asks for a long key or number: that is kept here: in the safe\n",
    ]


@pytest.mark.parametrize("care", [ANNA, GERMAN, UNKNOWN, replace(UNKNOWN, language="de")])
@pytest.mark.parametrize("of", [USUAL, baseline("a'b"), baseline("a", "b", "c", "d", "e")])
def test_six_lines_without_a_word_of_the_trade(care: Care, of: Baseline) -> None:
    text = said("owner.txt", care, of)
    assert len(text.split("\n\n")) == 6 and max(map(len, text.splitlines())) <= 80
    assert not FORBIDDEN.search(text) and not IDENTIFIER.search(text) and "␣" not in text
    page = said("owner.html", care, of)
    assert f'<html lang="{care.language}"' in page and len(re.findall("<(?:h1|p)>", page)) == 6
    shown = html.unescape(re.sub("<[^>]*>", "", page.partition("<main")[2].partition(">")[2]))
    assert " ".join(shown.split()) == " ".join(text.split())


def test_what_is_not_known_is_left_open() -> None:
    text = said("owner.txt", UNKNOWN, baseline("a'b"))
    assert text.count("_" * 20) == 4  # key, line, whom to call, where the long key is
    assert said("sheet.txt", UNKNOWN).count("_" * 24) == 2


def test_a_line_that_starts_something_else_is_never_offered() -> None:
    twice = baseline("Quarry", "quarry", "Fernwick Linux")
    assert 'Choose "Fernwick Linux" with' in said("owner.txt", UNKNOWN, twice)


def test_technician() -> None:
    text = said("sheet.txt", key_at="the safe", held=KIT)
    assert max(map(len, text.splitlines())) <= 80
    for part in (
        *(
            "F12",
            OWN,
            ESP,
            "Recovery kit: hall-2026,\nmade 2026-11-25 07:15",
            "Boot0001",
            "kept at:    the safe",
        ),
        *(
            "type: cd hall-2026\n    type: startup.nsh\n",
            "type: dmpstore -l entries.dmpstore\n",
            "sudo cp variables/Boot0000-*",
        ),
        *(f'bcfg boot addp 0 FS0:{FILE} "Quarry"', "Usual next start: Quarry, by its entry Boot0000."),
        'Of the baseline of 2026-11-25 07:12 UTC ("both start").',
    ):
        assert part in text
    assert PATH in re.sub(r"\n +", "", text)
    without = said("sheet.txt")
    assert "startup.nsh" not in without and "dmpstore" not in without and "Recovery kit:" not in without


@pytest.mark.parametrize(
    ("kinds", "command"), [((16, 16), "-F 16 -i"), ((32, 16), "-F 16-OR-32 -i"), ((), "-F 12-OR-16-OR-32 -i")]
)
def test_a_volume_is_made_anew_as_it_was(kinds: tuple[int, ...], command: str) -> None:
    on = states.disk("hall", *PARTS)
    held = [replace(states.volume(on, number, {}), fat_type=kind) for number, kind in enumerate(kinds, 1)]
    of = Baseline(
        {**USUAL.document, "state": State(volumes={one.identity: one for one in held}).parts()}, "0"
    )
    assert f"mkfs.fat {command}" in said("sheet.txt", of=of)


def test_what_a_shell_takes_otherwise_is_not_to_be_typed() -> None:
    assert "bcfg" not in said("sheet.txt", of=baseline('x" ; rm', "50%"))
    assert 'bcfg boot addp 0 FS0:\\EFI\\fernwick\\loaderx64.efi "Tarn"' in said(
        "sheet.txt", of=baseline('"', "Tarn")
    )


@pytest.mark.parametrize("name", ["sheet.html", "sheet.txt", "owner.html", "owner.txt"])
def test_hostile_names_are_harmless(name: str) -> None:
    odd = HOSTILE + "</p><script>alert(1)</script><img src='//x'>"
    care = Care(odd, odd, odd, odd, "en", {"Quarry": odd})
    text = said(
        name, care, baseline("Quarry", odd, machine=odd, reason=odd, volume=odd), odd, Held(odd, odd, (odd,))
    )
    assert not harmful(text)
    if name.endswith(".html"):
        assert not re.search("<(script|img)", text) and text.count("</main>") == text.count("<main")


@pytest.mark.long
def test_printed_and_on_a_screen(tmp_path: Path) -> None:
    """On paper as many pages as promised; on a narrow screen nothing is cut off, in light and dark."""
    many = baseline("Quarry", "Fernwick Linux", "Tarn Rescue", "another", "one more", "the last")
    lacks = {"volume": OWN, "where": "Fernwick", "size": 24 << 20, "systems": ["Fernwick Linux"]}
    held = replace(KIT, lacks=[lacks | {"path": f"\\fernwick\\6.1.0-{one}\\initrd"} for one in range(5)])
    pages = {name: said(name, GERMAN, many, held=held) for name in ("sheet.html", "owner.html")}
    assert printed(pages["sheet.html"], tmp_path) == 2
    assert printed(pages["owner.html"], tmp_path) == 1
    pages["hostile"] = said("sheet.html", of=baseline("m" * 300, HOSTILE, machine="m" * 300))
    for one in (*shown(pages, tmp_path, dark=False), *shown(pages, tmp_path, dark=True)):
        assert one.content <= one.width and one.loaded == 0, one.name
        for text, colour, ground, size in one.texts:
            assert contrast(colour, ground) >= 4.5, (one.name, text)
            assert size >= (24 if one.name == "owner.html" else 14)  # 24 pixels are 18 points
