"""Did it come true? Readings of a machine that is started again and again, kept in a real history."""

from __future__ import annotations

import sqlite3
import struct
from pathlib import Path
from typing import Any

import pytest

from bootwatch.keep import predictions
from bootwatch.keep.history import FILE_NAME, History
from bootwatch.model.snapshot import Moment
from bootwatch.observe.boot_log import LOG
from bootwatch.places import Places
from bootwatch.service.read import read
from tests.cli.commands import Commands
from tests.observe.test_boot_log import ACTION, CALLING, event, loaded
from tests.roots import (
    DEFAULT_LOADER,
    FERNWICK_ESP,
    FERNWICK_LOADER,
    QUARRY_LOADER,
    Root,
    load_option,
    program,
)

SPARE = "\\EFI\\fernwick\\spare.efi"
SAMPLE = Path(__file__).parents[1] / "keep" / "samples" / "history_1.sql"


def boots(root: Root, current: int | None = 0) -> int:
    """The machine is started through an entry, and its first reading taken."""
    root.start_again()
    if current is None:
        root.variable_file("BootCurrent").unlink(missing_ok=True)
    else:
        root.variable("BootCurrent", struct.pack("<H", current), attributes=6)
    return look(root, Moment.BOOT)


def look(root: Root, moment: Moment) -> int:
    number = read(Places.below(root.folder), moment, tell=False).snapshot.number
    assert number
    return number


def verdict(root: Root, number: int) -> tuple[str, str] | None:
    with History.look(Places.below(root.folder).history) as history:
        assert history
        found = predictions.verdicts(history).get(number)
    return (found.outcome.value, found.why) if found else None


def summary(root: Root) -> dict[str, Any]:
    with History.look(Places.below(root.folder).history) as history:
        assert history
        return predictions.summary(history)


def test_first_start_has_nothing_to_be_held_against(hall: Root) -> None:
    assert verdict(hall, boots(hall)) is None
    assert summary(hall)["judged"] == 0


def test_start_that_was_predicted(hall: Root) -> None:
    boots(hall)
    assert verdict(hall, look(hall, Moment.SHUTDOWN)) is None
    number = boots(hall)
    assert verdict(hall, number) == ("right", f"Boot0000 ({FERNWICK_LOADER} on gpt:{FERNWICK_ESP}) started.")
    assert (summary(hall)["right"], summary(hall)["judged"]) == (1, 1)
    assert look(hall, Moment.ASKED) == number + 1
    assert summary(hall)["judged"] == 1


def test_what_counts_is_the_last_look_before(hall: Root) -> None:
    """The order was set between two looks of one start."""
    hall.put("vda", 1, SPARE, program("spare"))
    hall.entry(3, "Fernwick spare", FERNWICK_ESP, SPARE)
    boots(hall)
    hall.order(3, 0)
    look(hall, Moment.WATCH)
    outcome = verdict(hall, boots(hall, 3))
    assert outcome and outcome[0] == "right"


def test_start_that_was_not_predicted(hall: Root) -> None:
    hall.put("vda", 1, SPARE, program("spare"))
    hall.entry(3, "Fernwick spare", FERNWICK_ESP, SPARE)
    boots(hall)
    last = look(hall, Moment.SHUTDOWN)
    number = boots(hall, 3)
    found = verdict(hall, number)
    assert found and found[0] == "wrong"
    (miss,) = summary(hall)["misses"]
    assert (miss["snapshot"], miss["predicted"], miss["why"]) == (number, last, found[1])


def test_other_system_was_to_start_first(hall: Root) -> None:
    """Whether it did is not known: only starts of this one are seen."""
    boots(hall)
    hall.variable("BootNext", b"\1\0")
    look(hall, Moment.SHUTDOWN)
    hall.variable_file("BootNext").unlink()
    found = verdict(hall, boots(hall))
    assert found and found[0] == "unknown" and QUARRY_LOADER in found[1]
    assert (summary(hall)["judged"], summary(hall)["unknown"]) == (0, 1)


def test_fallback_that_only_the_firmware_s_log_shows(hall: Root) -> None:
    """All entries are lost while the machine is off; the log names the default file's volume and path."""
    boots(hall)
    for number in range(3):
        hall.variable_file(f"Boot{number:04X}").unlink()
    hall.order()
    look(hall, Moment.SHUTDOWN)
    option = load_option("", FERNWICK_ESP, DEFAULT_LOADER)
    path = option[8:]  # the attributes, the list's length, an empty description
    image = struct.pack("<QQQQ", 0x1000, 0x2000, 0, len(path)) + path
    (hall.folder / LOG).parent.mkdir(parents=True)
    (hall.folder / LOG).write_bytes(
        event(ACTION, CALLING) + event(0x80000003, image) + loaded("\\further.efi")
    )
    found = verdict(hall, boots(hall, None))
    assert found == ("right", f"{DEFAULT_LOADER} on gpt:{FERNWICK_ESP} started.")
    assert f"file|gpt:{FERNWICK_ESP}|{DEFAULT_LOADER.upper()}" in summary(hall)["proven"]


def test_proven_route_carries_its_newest_date(hall: Root) -> None:
    boots(hall)
    newest = boots(hall)
    proven = summary(hall)["proven"]
    with History.look(Places.below(hall.folder).history) as history:
        row = history.row(newest) if history else None
    assert row
    assert set(map(tuple, (item.items() for item in proven.values()))) == {
        (("date", row.time), ("snapshot", newest))
    }
    assert f"file|gpt:{FERNWICK_ESP}|{FERNWICK_LOADER.upper()}" in proven
    assert len(proven) == 2


def test_habit_is_called_one_when_it_was_seen_twice(hall: Root) -> None:
    """What was set while this system ran is taken back at each start."""
    for restarts in (1, 2):
        boots(hall)
        hall.order(2, 0, 1)
        look(hall, Moment.SHUTDOWN)
        hall.order(0, 1, 2)
        number = boots(hall)
        habits = summary(hall)["habits"]
        assert len(habits) == restarts - 1
    (habit,) = habits
    assert (habit["habit"], habit["count"], habit["proven"], habit["restarts"]) == ("drops-edits", 2, 2, 3)
    assert habit["snapshot"] == number


def test_without_a_look_at_the_shutdown_custody_proves_nothing(hall: Root) -> None:
    for _ in range(2):
        boots(hall)
        hall.order(1, 0, 2)
    boots(hall)
    hall.order(0, 1, 2)
    boots(hall)
    (habit,) = summary(hall)["habits"]
    assert (habit["habit"], habit["count"], habit["proven"]) == ("own-choice-first", 2, 0)


def test_machine_that_does_not_say_which_start_it_is(hall: Root) -> None:
    boots(hall)
    (hall.folder / "proc/sys/kernel/random/boot_id").unlink()
    look(hall, Moment.ASKED)
    hall.start_again()
    assert verdict(hall, look(hall, Moment.BOOT)) is None
    assert summary(hall)["judged"] == 0


def test_history_of_the_version_before(hall: Root) -> None:
    """The first start after the update has nothing to be held against, the second one has."""
    history = Places.below(hall.folder).history
    history.mkdir(parents=True)
    with sqlite3.connect(history / FILE_NAME) as database:
        database.executescript(SAMPLE.read_text())
    database.close()
    assert verdict(hall, boots(hall)) is None
    found = verdict(hall, boots(hall))
    assert found and found[0] == "right"
    with History.look(history) as kept:
        assert kept and [row.number for row in kept.rows()] == [6, 5, 4, 3, 2, 1]


@pytest.mark.parametrize(
    ("current", "said"), [(0, "a new start, as predicted"), (3, "a new start, not as predicted")]
)
def test_history_command_says_so(
    hall: Root, capsys: pytest.CaptureFixture[str], current: int, said: str
) -> None:
    bootwatch = Commands(hall, capsys)
    hall.put("vda", 1, SPARE, program("spare"))
    hall.entry(3, "Fernwick spare", FERNWICK_ESP, SPARE)
    boots(hall)
    boots(hall, current)
    newest, oldest = bootwatch("history", "--json").document["snapshots"]
    assert said in " ".join(bootwatch("history").out.split())
    assert newest["prediction"]["outcome"] == ("wrong" if current else "right")
    assert oldest["prediction"] is None


@pytest.mark.long
def test_the_oldest_snapshots_are_dropped(hall: Root, capsys: pytest.CaptureFixture[str]) -> None:
    """As many as the settings say are kept, and whoever asks for another is told so."""
    bootwatch = Commands(hall, capsys)
    boots(hall)
    newest = boots(hall)
    with History.open(Places.below(hall.folder).history) as history, history.transaction():
        same = "boot, moment, time, alike, otherwise, state, gaps, overview, baseline, result"
        query = f"INSERT INTO record ({same}) SELECT {same} FROM record WHERE number = ?"
        history.database.executemany(query, [(newest,)] * 500)
    settings = Places.below(hall.folder).config
    settings.parent.mkdir(parents=True, exist_ok=True)
    settings.write_text("keep_snapshots: 500\n")
    newest = boots(hall)
    snapshots = bootwatch("history", "--all", "--json").document["snapshots"]
    assert [one["snapshot"] for one in snapshots] == list(range(newest, newest - 500, -1))
    assert "Snapshot 1 is no longer kept." in bootwatch("drift", "--between", "1", str(newest)).err
