"""Whether bootwatch itself works: each thing that can be wrong is found, and what is fine isn't."""

from __future__ import annotations

import datetime
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from bootwatch.cli.main import main
from bootwatch.model.checkup import State
from bootwatch.places import Places
from bootwatch.service.gather import UNITS, gather, units_in
from bootwatch.service.selfcheck import Gathered, checked
from bootwatch.tell.selfcheck_report import selfcheck_report

NOW = datetime.datetime(2026, 11, 25, 12, tzinfo=datetime.UTC)
TOLD = {"address": "ada", "reader": "technician", "time": "2026-11-20T07:13:00+00:00"}
ALERT: dict[str, Any] = {
    "name": "a3",
    "opened": "2026-11-20T07:12:00Z",
    "tellings": [{"told": [TOLD], "receipts": "read"}],
}
UNHEARD: dict[str, Any] = {"told": [], "receipts": "waiting"}
UNTOLD = {
    "address": "workshop",
    "why": "550 no such user",
    "attempts": 1,
    "first_try": "2026-11-20T07:12:00Z",
    "for_good": True,
}
GOOD = Gathered(
    now=NOW,
    settings_file="/etc/bootwatch/bootwatch.yaml",
    addresses_file="/etc/bootwatch/addresses.yaml",
    addresses=2,
    untold=[],
    read="2026-11-25T07:12:05Z",
    history_file="/var/lib/bootwatch/history/history.db",
    history_faults=(),
    baseline="2026-11-20T14:02:00Z",
    told={"address": "ada", "time": "2026-11-20T07:13:00+00:00"},
    alert=ALERT,
    units=dict.fromkeys(UNITS, ("enabled", "active")),
)


def test_all_is_fine() -> None:
    checks = checked(GOOD)
    assert {check.state for check in checks} == {State.FINE}
    text = selfcheck_report(checks)
    assert text.startswith("bootwatch works, as far as it was looked at.\n")
    assert "fine   alert       a3 is open since 2026-11-20 07:12 UTC" in text
    assert all(len(line) <= 80 for line in text.splitlines())


@pytest.mark.parametrize(
    ("name", "wrong", "says"),
    [
        ("settings", {"settings_mistakes": ["line 1: no"]}, "line 1: no"),
        ("addresses", {"address_mistakes": ["line 2: no"]}, "line 2: no"),
        ("addresses", {"addresses": 0}, "Nobody is told"),
        ("delivery", {"untold": [UNTOLD]}, "(given up)"),
        ("delivery", {"untold": [UNTOLD | {"for_good": False, "attempts": 5}]}, "5 attempts so far"),
        ("reading", {"read": None}, "not read yet"),
        ("reading", {"read": "2026-11-21T07:12:05Z"}, "4 days ago"),
        ("reading", {"read": "2027-01-01T00:00:00Z"}, "clock set back"),
        ("reading", {"history_trouble": "The history can't be used."}, "can't be used"),
        ("history", {"history_faults": ["Snapshot 7 is missing."]}, "7 is missing"),
        ("baseline", {"baseline": ""}, "no baseline"),
        ("baseline", {"baseline_trouble": "The baseline is damaged."}, "damaged"),
        ("alert", {"alert": ALERT | {"tellings": [UNHEARD]}}, "nobody was told"),
        ("alert", {"alert": ALERT | {"tellings": None, "told": []}}, "nobody was told"),
        ("restore", {"unfinished": "2026-11-23T06:00:00Z"}, "cut off"),
        ("restore", {"records_trouble": "The record can't be used."}, "can't be used"),
        ("units", {"units": GOOD.units | {UNITS[0]: ("disabled", "inactive")}}, "not enabled"),  # type: ignore[operator]
        ("units", {"units": GOOD.units | {UNITS[0]: ("enabled", "failed")}}, "not active"),  # type: ignore[operator]
    ],
)
def test_what_is_wrong(name: str, wrong: dict[str, Any], says: str) -> None:
    (found,) = [check for check in checked(replace(GOOD, **wrong)) if check.state is not State.FINE]
    assert (found.name, found.state) == (name, State.WRONG)
    assert says in found.said and found.mend


@pytest.mark.parametrize(
    "fine",
    [
        {"untold": [UNTOLD | {"for_good": False, "attempts": 4}]},
        {"alert": ALERT | {"tellings": [{"told": [], "receipts": "denied"}]}},
        {
            "alert": ALERT
            | {"opened": "2026-11-25T11:30:00Z", "tellings": [{"told": [], "receipts": "waiting"}]}
        },
        {"alert": None},
    ],
)
def test_what_is_not_wrong(fine: dict[str, Any]) -> None:
    assert {check.state for check in checked(replace(GOOD, **fine))} == {State.FINE}


def test_what_the_caller_cannot_know_is_not_wrong() -> None:
    unknown = replace(
        GOOD, addresses=None, untold=None, told=None, baseline=None, units=None, history_faults=None
    )
    states = {check.name: check.state for check in checked(unknown)}
    assert {name for name, state in states.items() if state is State.UNKNOWN} == {
        *("addresses", "delivery", "last told", "history", "baseline", "units")
    }
    assert State.WRONG not in states.values()


def test_what_systemd_says() -> None:
    """As `systemctl show --property=Id,UnitFileState,ActiveState` of systemd 257 writes it."""
    said = (
        "Id=bootwatch-boot.timer\nActiveState=active\nUnitFileState=enabled\n\n"
        "Id=bootwatch-send.path\nActiveState=inactive\nUnitFileState=\n"
    )
    found = units_in(said)
    assert found["bootwatch-boot.timer"] == ("enabled", "active")
    assert found["bootwatch-send.path"] == ("not there", "inactive")
    assert found["bootwatch-daily.timer"] == ("not there", "not there")


def test_units_are_those_that_are_enabled_when_it_is_installed() -> None:
    script = (Path(__file__).parents[2] / "packaging/install").read_text()
    named = script.partition("started=(")[2].partition(")")[0].split()
    assert set(UNITS) == {*named, "bootwatch-shutdown.service"}


def test_gathering_from_an_empty_folder_and_from_damage(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    places = Places.below(tmp_path)
    send = tmp_path / "run/bootwatch/send"
    send.mkdir(parents=True)
    for text in ("", '{"untold": 3, "told": [{}], "mistakes": []}', "[1]"):
        (send / "state.json").write_text(text)
        found = gather(places)
        assert (found.addresses, found.untold, found.told, found.read, found.baseline) == (
            0,
            None,
            None,
            None,
            "",
        )
    assert main(["--root", str(tmp_path), "selfcheck", "--json"]) == 1
    document = json.loads(capsys.readouterr().out)
    assert document["format"] == "bootwatch/selfcheck/1"
    assert [one["name"] for one in document["checks"] if one["state"] == "wrong"] == [
        *("addresses", "reading", "baseline")
    ]


def test_gathering_mistakes(tmp_path: Path) -> None:
    places = Places.below(tmp_path)
    places.config.parent.mkdir(parents=True)
    places.config.write_text("no_such_key: 1\n")
    places.addresses.write_text("addresses: [{to: nonsense}]\n")
    places.addresses.chmod(0o600)
    found = gather(places)
    assert len(found.settings_mistakes) == len(found.address_mistakes) == 1 and found.addresses is None
