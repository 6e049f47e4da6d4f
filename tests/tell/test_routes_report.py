"""What starts next and every route, as a technician reads it. The golden texts lie in ``routes/``."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from bootwatch.model.gap import Reason
from bootwatch.tell.overview_report import doubts, overview_report
from bootwatch.tell.plain import columns
from bootwatch.tell.routes_report import routes_report
from bootwatch.tell.routes_words import next_phrase, systems_phrase
from tests.tell import route_samples as samples
from tests.tell.route_samples import Document, document, following, route, step, system
from tests.tell.samples import HOSTILE, harmful

_GOLDEN = Path(__file__).with_name("routes")
_SAMPLES = {
    "two-systems": samples.two_systems,
    "unread": samples.unread,
    "clones": samples.clones,
    "nothing": samples.nothing,
}


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("name", _SAMPLES)
def test_golden_text(name: str) -> None:
    assert routes_report(_SAMPLES[name]()) == (_GOLDEN / f"{name}.txt").read_text()


@pytest.mark.parametrize("width", [60, 80, 132])
@pytest.mark.parametrize("make", [*_SAMPLES.values(), lambda: hostile(samples.two_systems())])
def test_lines_keep_to_the_width(make: Callable[[], Document], width: int) -> None:
    assert max(columns(line) for line in routes_report(make(), width).splitlines()) <= width


def hostile(
    value: Any, words: tuple[str, ...] = ("by", "how", "outcome", "reason", "time", "date", "last")
) -> Any:
    """A document with hostile text in the place of every text that a machine may have written."""
    if isinstance(value, dict):
        return {key: one if key in words else hostile(one) for key, one in value.items()}
    if isinstance(value, list):
        return [hostile(one) for one in value]
    return HOSTILE if isinstance(value, str) else value


@pytest.mark.parametrize("name", _SAMPLES)
def test_hostile_text_is_harmless(name: str) -> None:
    found = hostile(_SAMPLES[name]())
    text = routes_report(found)
    assert not harmful(text) and "\nBcc" not in text
    assert not harmful(systems_phrase(found["systems"]) + next_phrase(found["next_start"]))
    view = {"routes": found}
    assert not harmful(overview_report(view) + doubts(view))


def crowded(count: int = 500) -> Document:
    dead = [
        step(f"Boot{n:04X}", f"n{n}", None, None, outcome="passed", why="it is switched off")
        for n in range(250)
    ]
    last = step("BootFFFF", "Fernwick Linux", samples.LOADER)
    routes = [route(f"Boot{n:04X}", f"n{n}", samples.LOADER) for n in range(count)]
    systems = tuple(system(f"System {n}", *routes, more=7) for n in range(50))
    more = {"trail": 65_000, "routes": 64_000, "systems": 900, "gaps": 30}
    lost = [
        route(f"Boot{n:04X}", "", None, None, system=None, starts=False, why="malformed")
        for n in range(count)
    ]
    gap = {
        "scope": {"variables": "Boot0001-8be4df61-93ca-11d2-aa0d-00e098032b8c"},
        "reason": "denied",
        "detail": "",
    }
    found = document(following(last, "System 1"), *dead, last, systems=systems, more=more, gaps=[gap] * 500)
    return {**found, "routes": lost}


def test_a_crowd_is_counted() -> None:
    text = routes_report(crowded())
    assert len(text.splitlines()) < 800
    assert "(65235 more are passed over: see --json)" in text
    assert "65251  BootFFFF" in text, "the last step keeps its number"
    said = flat(text)
    for more in ("and 499 more routes", "and 938 more systems", "and 64492 more routes", "and 510 more"):
        assert more in said, more


KERNEL = {"followed_to": "kernel"}


@pytest.mark.parametrize(
    ("how", "routes", "said"),
    [
        ("by itself", [{}], "Quarry starts (followed to its loader)"),
        ("by itself", [KERNEL], "Quarry starts (followed to its kernel)"),
        # What only a person can choose says nothing of what starts by itself.
        ("by itself", [{}, {**KERNEL, "unattended": False}], "Quarry starts (followed to its loader)"),
        ("by itself", [{}, {**KERNEL, "starts": False}], "Quarry starts (followed to its loader)"),
        ("on request", [{"unattended": False}], "Quarry starts only when somebody chooses it"),
        ("not at all", [], "Quarry does not start"),
        ("not known", [], "whether Quarry starts is not known"),
    ],
)  # fmt: skip
def test_a_system_in_short(how: str, routes: list[Document], said: str) -> None:
    ways = [route("Boot0001", "Quarry", samples.QUARRY, **way) for way in routes]
    assert systems_phrase([system("Quarry", *ways, how=how)]) == said


def test_own_start_menu_in_which_somebody_has_to_choose() -> None:
    """The firmware comes to the loader by itself, but what that starts by itself is broken."""
    way = route("Boot0000", "Fernwick Linux", samples.LOADER, unattended=False)
    found = document(
        following(FIRST, "Fernwick Linux"), FIRST, systems=(system("Fernwick Linux", way, how="on request"),)
    )
    text = flat(routes_report(found))
    assert "Fernwick Linux: starts only when somebody chooses it in its own start menu; followed" in text
    assert 'starts Boot0000 "Fernwick Linux", then a choice in its start menu' in text
    assert "firmware's menu" not in text


def test_systems_in_short_come_worst_first_and_never_without_their_depth() -> None:
    way, deep = route("Boot0000", "", "\\x"), route("Boot0001", "", "\\x", followed_to="kernel")
    systems = [
        system("A", way),
        system("B", deep),
        system("C", way),
        system("D", how="not at all"),
        system("E", how="not known"),
        system("F", how="not at all"),
    ]
    assert systems_phrase(systems) == (
        "D and F do not start; whether E starts is not known; B starts (followed to its kernel);"
        " A and C start (followed to their loaders)"
    )
    assert systems_phrase([]) == "no system was found"


FIRST = step("Boot0000", "Fernwick Linux", samples.LOADER)
ONCE = step("Boot0001", "Quarry", samples.QUARRY, by="BootNext")
OWN = step("Boot0003", "Shell", None, None, why="it is a program in the firmware itself")
FALLBACK = step(None, "", samples.DEFAULT)
MAYBE = step("Boot0005", "Stick", None, None, outcome="unknown", why="its variable could not be read")


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (following(FIRST, "Fernwick Linux"), "Fernwick Linux, by its entry Boot0000"),
        (following(ONCE, "Quarry"), "Quarry, by its entry Boot0001, this once (BootNext)"),
        (following(FIRST, None), f"the program {samples.LOADER}, by the entry Boot0000"),
        (following(OWN, None), '"Shell", a program in the firmware itself, by the entry Boot0003'),
        (following(FALLBACK, "Fernwick Linux"), f"Fernwick Linux, by the default file {samples.DEFAULT}"),
        (
            following(FIRST, "Fernwick Linux", by="setup"),
            "the firmware's own setup, because OsIndications asks for it",
        ),
        (following(FIRST, None, by="nothing"), "nothing"),
        (following(MAYBE, None, certain=False), "not known (its variable could not be read)"),
        (
            following(
                FIRST,
                "Fernwick Linux",
                certain=False,
                candidates=[following(MAYBE, None), following(FIRST, "Fernwick Linux")],
            ),
            "probably Fernwick Linux, by its entry Boot0000",
        ),
        (
            following(
                FALLBACK,
                "Fernwick Linux",
                certain=False,
                candidates=[following(FALLBACK, "Fernwick Linux"), following(FALLBACK, "Quarry")],
            ),
            f"either Fernwick Linux or Quarry, by the default file {samples.DEFAULT}",
        ),
        (
            following(
                FALLBACK,
                "Quarry",
                certain=False,
                candidates=[
                    following(FALLBACK, "Quarry"),
                    following(FALLBACK, "Quarry", volume="fat:1234-5678", partition=None),
                ],
            ),
            f"Quarry, by the default file {samples.DEFAULT}",
        ),
    ],
)
def test_next_start_in_short(found: Document, said: str) -> None:
    assert next_phrase(found) == said


@pytest.mark.parametrize("reason", Reason)
def test_each_reason_tells_how_to_find_out(reason: Reason) -> None:
    found = samples.unread()
    found["gaps"][0]["reason"] = reason.value
    advice = routes_report(found).partition("How to find out")[2]
    assert advice.count("  - ") == 2


def test_nothing_is_advised_where_all_is_known() -> None:
    assert "How to find out" not in routes_report(samples.two_systems())
    assert "How to find out" not in routes_report(samples.nothing())


@pytest.mark.parametrize(
    ("right", "judged", "unknown", "said"),
    [
        (41, 42, 0, "right 41 of 42 times here."),
        (1, 1, 0, "right 1 of 1 time here."),
        (0, 0, 0, "none could be checked here yet."),
        (0, 0, 3, "none could be checked here yet (3 starts)."),
        (2, 2, 1, "right 2 of 2 times here; 1 more could not be checked."),
    ],
)
def test_the_record_in_numbers(right: int, judged: int, unknown: int, said: str) -> None:
    record = {"right": right, "judged": judged, "unknown": unknown, "misses": []}
    assert f"Predictions: {said}" in routes_report({**samples.nothing(), "record": record})


def test_baseline_view_says_what_starts_and_what_does_not() -> None:
    found = samples.two_systems()
    dead = system("Tarn Rescue", how="not at all", why="no entry and no default file leads to it")
    view = {"routes": {**found, "systems": [*found["systems"], dead]}}
    text = overview_report(view)
    assert text.startswith("Next start: Fernwick Linux, by its entry Boot0000\n\nSystems\n")
    assert 'by Boot0000 "Fernwick Linux" and the default file' in flat(text)
    assert 'by Boot0001 "Quarry" and the start menu of Fernwick Linux' in flat(text)
    assert "Tarn Rescue does not start: no entry and no default file leads to it." in flat(doubts(view))
    assert "Quarry" not in doubts(view)


def test_baseline_of_before_routes_still_shows() -> None:
    entry = {
        "entry": "Boot0001", "label": "Quarry", "file": samples.QUARRY, "volume": "gpt:x", "path": "",
        "active": True, "in_order": True, "file_there": False,
    }  # fmt: skip
    view = {"entries": [entry]}
    assert "Systems" not in overview_report(view)
    assert 'The entry "Quarry" starts nothing: the file is not there.' in flat(doubts(view))


def test_documents_are_json() -> None:
    for make in _SAMPLES.values():
        assert json.loads(json.dumps(make())) == make()


def test_a_start_menu_behind_the_default_file() -> None:
    first = step("Boot0000", "Fernwick Linux", samples.LOADER)
    menu = route(None, "", samples.QUARRY, by="menu", through="Fernwick Linux", unattended=False)
    found = document(
        following(first, "Fernwick Linux"), first, systems=(system("Quarry", menu, how="on request"),)
    )
    assert "The start menu of Fernwick Linux, which the default file leads to" in flat(routes_report(found))
