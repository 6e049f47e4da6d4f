"""The metrics file: what is in it, what is left out of it, and names that try to break it."""

from __future__ import annotations

import re
import stat
from pathlib import Path

import pytest

from bootwatch import __version__
from bootwatch.model.change import Drift
from bootwatch.model.level import Level
from bootwatch.places import Places
from bootwatch.tell.metrics import Figures, open_levels, publish, text
from tests.tell.samples import ENTRY_MISSING, NO_WAY, SEED_CHANGED, STICK_FIRST, harmful

NOTHING_KNOWN = Figures("2026-11-25T07:12:05Z", [], None, None, 0)
SAMPLE = re.compile(r'bootwatch_[a-z_]+(\{[a-z]+="(?:[^"\\\n]|\\[\\"n])*"\})? [0-9.]+')


def samples(figures: Figures) -> list[str]:
    return [line for line in text(figures).splitlines() if not line.startswith("#")]


def system_starts(*systems: tuple[str, bool | None]) -> list[str]:
    figures = Figures("2026-11-25T07:12:05Z", systems, None, None, 0)
    return [line for line in samples(figures) if line.startswith("bootwatch_system_starts")]


def test_all_that_is_known() -> None:
    levels = {Level.STRANDED: 1, Level.DIVERTED: 0, Level.WEAKENED: 2, Level.CHANGED: 0}
    figures = Figures("2026-11-25T07:12:05Z", [("Fernwick Linux", True), ("Quarry", False)], False, levels, 3)
    assert samples(figures) == [
        f'bootwatch_build_info{{version="{__version__}"}} 1',
        "bootwatch_last_look_seconds 1795590725",  # date -u -d 2026-11-25T07:12:05Z +%s
        "bootwatch_unread_parts 3",
        'bootwatch_system_starts{system="Fernwick Linux"} 1',
        'bootwatch_system_starts{system="Quarry"} 0',
        "bootwatch_next_start_expected 0",
        'bootwatch_open_alerts{level="stranded"} 1',
        'bootwatch_open_alerts{level="diverted"} 0',
        'bootwatch_open_alerts{level="weakened"} 2',
        'bootwatch_open_alerts{level="changed"} 0',
    ]


def test_what_cannot_be_told_is_left_out_with_its_description() -> None:
    assert [line.split("{")[0].split()[0] for line in samples(NOTHING_KNOWN)] == [
        "bootwatch_build_info",
        "bootwatch_last_look_seconds",
        "bootwatch_unread_parts",
    ]
    assert text(NOTHING_KNOWN).count("# TYPE") == text(NOTHING_KNOWN).count("# HELP") == 3
    assert system_starts(("Quarry", None)) == []


@pytest.mark.parametrize(
    ("name", "escaped"),
    [
        ('Quarry "7"', 'Quarry \\"7\\"'),
        ("back\\slash\\", "back\\\\slash\\\\"),
        ("two\nlines", "two\\\\x0alines"),
        ('"} 1\nbootwatch_system_starts{system="Fernwick Linux', None),
        ("\x1b[2J\x00\r\u202e\ud800", None),
        ("x" * 100_000, None),
        ("", ""),
    ],
)
def test_hostile_names_stay_within_their_quotes(name: str, escaped: str | None) -> None:
    (line,) = system_starts((name, False))
    assert SAMPLE.fullmatch(line) and not harmful(line)
    assert escaped is None or line == f'bootwatch_system_starts{{system="{escaped}"}} 0'
    assert len(line) < 1000


@pytest.mark.parametrize(
    ("verdicts", "values"),
    [((True, False), ["0"]), ((True, None), []), ((None, False), ["0"]), ((True, True), ["1"])],
)
def test_one_sample_for_systems_that_look_the_same(
    verdicts: tuple[bool | None, ...], values: list[str]
) -> None:
    """Two with the same labels, and the collector would refuse the whole file."""
    names = ("Quarry\u200b", "Quarry\\u200b")
    assert [line.split()[-1] for line in system_starts(*zip(names, verdicts, strict=True))] == values


def test_what_counts_as_open() -> None:
    drift = Drift((ENTRY_MISSING, SEED_CHANGED), (STICK_FIRST, NO_WAY), ())
    assert (ENTRY_MISSING.level, SEED_CHANGED.level) == (Level.WEAKENED, Level.ROUTINE)
    assert (STICK_FIRST.level, NO_WAY.level) == (Level.WEAKENED, Level.STRANDED)
    found = {Level.STRANDED: 1, Level.DIVERTED: 0, Level.WEAKENED: 2, Level.CHANGED: 0}
    assert open_levels(drift) == found
    assert open_levels(drift, {STICK_FIRST.id}) == {**found, Level.WEAKENED: 1}


def test_everybody_may_read_the_file_and_there_is_no_other(tmp_path: Path) -> None:
    publish(Places.below(tmp_path), NOTHING_KNOWN)
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "run").mkdir()
    for _ in range(2):
        publish(Places.below(tmp_path), NOTHING_KNOWN)
    (file,) = (tmp_path / "run/bootwatch").iterdir()
    assert (file.name, stat.S_IMODE(file.stat().st_mode)) == ("metrics.prom", 0o644)
    assert file.read_text() == text(NOTHING_KNOWN)
