"""A rehearsal as a technician reads it."""

from __future__ import annotations

from typing import Any

import pytest

from bootwatch.model.gap import Gap, Reason
from bootwatch.tell.plain import columns
from bootwatch.tell.rehearsal_report import READS_ONLY, rehearsal_report
from tests.tell.samples import harmful

_EVIL = "Q\x1b[2J\u202e{name}\r\n" + "x" * 500


def way(what: str) -> dict[str, Any]:
    known = {"entry": "Boot0000", "partition": None, "file": "\\x", "unattended": True}
    return {"what": what, "followed_to": "loader", **known}


def system(name: str, how: str, *ways: str) -> dict[str, Any]:
    starts = {"by itself": True, "on request": True, "not at all": False, "not known": None}[how]
    return {"name": name, "starts": starts, "how": how, "through": [way(one) for one in ways], "routes": 1}


def following(name: str | None, what: str, certain: bool = True) -> dict[str, Any]:
    return {"system": name, "what": what, "certain": certain}


def loss(number: int, what: str, starts: dict[str, Any], *systems: dict[str, Any], heard: bool | None) -> Any:
    return {
        "number": number,
        "kind": "entry",
        "what": what,
        "where": "Boot0000",
        "next_start": starts,
        "systems": list(systems),
        "heard": heard,
    }


FERNWICK, QUARRY = "Fernwick Linux", "Quarry"
AS_NOW = following(FERNWICK, 'Fernwick Linux, through the entry "Fernwick Linux"')
OTHER = following(QUARRY, 'Quarry, through the entry "Quarry"')
BOTH = (
    system(FERNWICK, "by itself", 'the entry "Fernwick Linux"'),
    system(QUARRY, "by itself", 'the entry "Quarry"'),
)


def rehearsed(name: str, how: str, **more: Any) -> dict[str, Any]:
    nothing = {"also": [], "single_points": [], "remedies": [], "remain": [], "tried": True}
    return {**system(name, how, f'the entry "{name}"'), **nothing, **more}


def document(*systems: dict[str, Any], losses: list[Any] | None = None, **more: Any) -> dict[str, Any]:
    return {
        "format": "bootwatch/rehearsal/1",
        "machine": "attic",
        "snapshot": 12,
        "time": "2026-11-25T02:12:00Z",
        "home": FERNWICK,
        "heard": True,
        "once": False,
        "next_start": AS_NOW,
        "systems": list(systems) or [rehearsed(FERNWICK, "by itself"), rehearsed(QUARRY, "by itself")],
        "losses": losses or [],
        "limits": [],
        "gaps": [],
        **more,
    }


def remedy(what: str, **more: Any) -> dict[str, Any]:
    return {
        "sort": "entry",
        "what": what,
        "removes": [1, 2, 3, 5],
        "if_elsewhere": [],
        "eases": [],
        "costs": [],
        **more,
    }


def flat(text: str) -> str:
    return " ".join(text.split())


def test_the_first_line_says_that_it_only_reads() -> None:
    assert rehearsal_report(document()).splitlines()[0] == READS_ONLY
    assert rehearsal_report(document()).endswith("\n")


def test_a_system_that_nothing_single_can_hurt() -> None:
    assert (
        "Quarry starts by itself (followed to its loader), and no single loss that was rehearsed would"
        in flat(rehearsal_report(document()))
    )


def test_single_points_stand_worst_first_with_what_removes_them() -> None:
    points = [
        {"loss": 1, "effect": "no longer starts"},
        {"loss": 2, "effect": "no longer starts next"},
        {"loss": 3, "effect": "only on request"},
    ]
    own = rehearsed(
        FERNWICK,
        "by itself",
        single_points=points,
        remain=[{"loss": 2, "effect": "no longer starts next"}],
        remedies=[
            remedy(
                "put a copy there",
                if_elsewhere=[7],
                eases=[{"loss": 9, "effect": "only on request"}],
                costs=[{"system": QUARRY, "loss": 4, "effect": "no longer starts next"}],
            )
        ],
    )
    losses = [loss(number, f"thing {number}", OTHER, *BOTH, heard=False) for number in (1, 2, 3)]
    text = rehearsal_report(document(own, losses=losses))
    places = [text.index(sentence) for sentence in ("no longer start\n", "no longer come up in", "only when")]
    assert places == sorted(places)
    said = flat(text)
    assert "- Put a copy there. (removes 1-3, 5; helps with 7 if Fernwick Linux itself lies on" in said
    assert "eases 9: only on request" in said
    assert "But then the machine would no longer come up in Quarry after 4." in said
    assert "what remains: 2, and 7 unless Fernwick Linux itself lies on another disk." in said
    assert "recovery-key" in said and "maker's manual" in said and "Secure Boot" in said


def test_no_remedy_no_cautions() -> None:
    points = [{"loss": 1, "effect": "no longer starts"}]
    losses = [loss(1, "the disk", OTHER, *BOTH, heard=None)]
    own = rehearsed(FERNWICK, "by itself", single_points=points, remain=points)
    text = rehearsal_report(document(own, losses=losses))
    assert "Nothing that was tried would remove any of these." in text and "recovery-key" not in text
    text = rehearsal_report(document({**own, "tried": False}, losses=losses))
    assert "was not worked out" in text and "Nothing that was tried" not in text


def test_losses_with_the_same_outcome_stand_together() -> None:
    gone = (BOTH[0], system(QUARRY, "not at all"))
    losses = [
        loss(1, "the loader", AS_NOW, *gone, heard=True),
        loss(2, "the clock", AS_NOW, *BOTH, heard=True),
        loss(3, "the folder", AS_NOW, *gone, heard=True),
    ]
    text = rehearsal_report(document(losses=losses))
    piece = next(part for part in text.split("\n\n") if "the loader" in part)
    assert [line.split() for line in piece.splitlines()] == [
        ["1", "the", "loader"],
        ["3", "the", "folder"],
        ["next", "as", "now"],
        ["starts", "Fernwick", "Linux"],
        ["not", "Quarry"],
    ]
    assert "   2  the clock\n      next and systems as now" in text


@pytest.mark.parametrize(
    ("home", "heard", "sentence"),
    [
        (None, None, "In which system bootwatch runs is not known"),
        (FERNWICK, False, "the machine does not come up in Fernwick Linux: nobody is told until"),
        (FERNWICK, None, "Whether the machine comes up in Fernwick Linux can't be told."),
        (FERNWICK, True, "After each of these losses the machine would still come up in Fernwick Linux."),
    ],
)
def test_whether_anyone_would_hear(home: str | None, heard: bool | None, sentence: str) -> None:
    losses = [loss(1, "the clock", AS_NOW, *BOTH, heard=heard)]
    assert sentence in flat(rehearsal_report(document(home=home, heard=heard, losses=losses)))


def test_after_which_nobody_would_hear() -> None:
    losses = [loss(n, "x", OTHER, *BOTH, heard=heard) for n, heard in ((1, False), (2, None), (3, True))]
    said = flat(rehearsal_report(document(losses=losses)))
    assert "nobody hears until Fernwick Linux is started by hand: 1." in said
    assert "After these it can't be told: 2." in said


def test_what_was_left_out_is_said() -> None:
    gap = Gap("disk", "sdb", Reason.UNREADABLE, "I/O error").to_json()
    text = rehearsal_report(document(limits=["300 entries were left out."], gaps=[gap] * 30, once=True))
    assert "300 entries were left out." in text and "and 10 more: see --json" in text
    assert "What is asked for once only, at the very next start, is left out" in flat(text)


def test_hostile_text_is_harmless_and_lines_keep_to_the_width() -> None:
    points = [{"loss": 1, "effect": "no longer starts"}]
    own = rehearsed(_EVIL, "by itself", single_points=points, remain=points, remedies=[remedy(_EVIL)])
    losses = [loss(1, _EVIL, following(_EVIL, _EVIL), system(_EVIL, "on request", _EVIL), heard=False)]
    hostile = document(
        own, losses=losses, machine=_EVIL, home=_EVIL, limits=[_EVIL], next_start=following(_EVIL, _EVIL)
    )
    for width in (40, 80):
        text = rehearsal_report(hostile, width)
        assert not harmful(text)
        assert max(columns(line) for line in text.splitlines()) <= width


def test_many_systems_are_counted() -> None:
    systems = [rehearsed(f"System {number}", "not at all") for number in range(20)]
    assert "and 8 more systems: see --json" in rehearsal_report(document(*systems))
