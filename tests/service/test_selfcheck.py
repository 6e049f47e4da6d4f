"""Whether bootwatch itself works: each thing that can be wrong is found, and what is fine isn't."""

from __future__ import annotations

import datetime
import json
import os
import sqlite3
import subprocess
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from bootwatch.cli.main import main
from bootwatch.keep.history import FILE_NAME
from bootwatch.model.checkup import State
from bootwatch.places import Places
from bootwatch.service.gather import STARTED, UNITS, gather, units_in
from bootwatch.service.gathered import Gathered, Unit
from bootwatch.service.rights import rights, wrong_rights
from bootwatch.service.selfcheck import checked
from bootwatch.tell.plain import plain
from bootwatch.tell.selfcheck_report import selfcheck_report
from tests.cli.commands import Commands
from tests.roots import Root

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
    units=dict.fromkeys(UNITS, Unit("enabled", "active", "success"))
    | {STARTED[0]: Unit("enabled", "inactive", "success", is_lasting=False)},
    is_read_since_start=True,
    rights=(),
    baseline_digest="9b",
    compared="9b",
    kit_here=True,
    kit_elsewhere="of today's baseline",
)


def unit(name: str, enabled: str, active: str, result: str = "success", **more: bool) -> dict[str, Any]:
    return {"units": {**(GOOD.units or {}), name: Unit(enabled, active, result, **more)}}


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
        ("reading", {"is_read_since_start": False}, "not since it was started"),
        ("baseline", {"is_logged": False}, "put there by hand"),
        ("baseline", {"compared": "7c"}, "another baseline"),
        ("spares", {"spares_lacking": ["\\EFI\\x.efi"]}, "no spare"),
        ("spares", {"spares_damaged": ["/var/lib/bootwatch/spares/9b"]}, "is damaged"),
        ("kit", {"kit_here": False}, "on this machine"),
        ("kit", {"kit_elsewhere": "of a former baseline"}, "former baseline"),
        ("restore", {"unkept": ["the boot order"]}, "the boot order"),
        ("rights", {"rights": [("/etc is open.", "sudo chmod 0755 /etc")]}, "is open"),
        ("restore", {"unfinished": "2026-11-23T06:00:00Z"}, "cut off"),
        ("restore", {"records_trouble": "The record can't be used."}, "can't be used"),
        ("units", unit(UNITS[0], "disabled", "inactive"), "not enabled"),
        ("units", unit(UNITS[0], "enabled", "inactive"), "not active"),
        ("units", unit(UNITS[0], "masked", "inactive"), "is masked"),
        ("units", unit(UNITS[0], "not there", "inactive"), "is not there"),
        ("units", unit(UNITS[0], "enabled", "failed", "start-limit-hit"), "failed (start-limit-hit)"),
        ("units", unit(STARTED[0], "disabled", "inactive", is_lasting=False), "not enabled"),
        ("units", unit("bootwatch-kit.service", "static", "failed", "timeout", is_needed=False), "(timeout)"),
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


def test_a_command_is_never_broken_within_a_word() -> None:
    file = f"/var/lib/bootwatch/spares/{'9b' * 32}"
    assert f"'{file}'." in selfcheck_report(checked(replace(GOOD, spares_damaged=[file])))
    faults = ["Snapshot 7 is missing.", "Snapshot 9 is missing."]
    mends = [one.mend for one in checked(replace(GOOD, history_faults=faults)) if one.name == "history"]
    assert mends[0] == "" and mends[1].endswith("sudo bootwatch snapshot"), "once for all of them"


def test_what_the_caller_cannot_know_is_not_wrong() -> None:
    not_seen = ("addresses", "untold", "told", "baseline", "units", "history_faults", "kit_here", "rights")
    known = {name: value for name, value in vars(GOOD).items() if name not in not_seen}
    unknown = Gathered(**known | {"baseline_digest": "", "compared": None, "kit_elsewhere": ""})
    states = {check.name: check.state for check in checked(unknown)}
    assert {name for name, state in states.items() if state is State.UNKNOWN} == {
        *("addresses", "delivery", "last told", "history", "baseline", "units")
    }
    assert State.WRONG not in states.values()


def test_what_systemd_says() -> None:
    """As `systemctl show` of systemd 257 writes it. A unit without a part in [Install] is static."""
    said = (
        "Id=bootwatch-boot.timer\nActiveState=active\nUnitFileState=enabled\n\n"
        "Id=bootwatch-send.path\nActiveState=inactive\nUnitFileState=\n\n"
        "Result=exit-code\nId=bootwatch-send.service\nActiveState=failed\nUnitFileState=static\n\n"
        "Result=success\nId=bootwatch-kit.service\nActiveState=inactive\nUnitFileState=static\n"
    )
    found = units_in(said)
    assert found["bootwatch-boot.timer"] == Unit("enabled", "active")
    assert found["bootwatch-send.path"] == Unit("not there", "inactive")
    assert found["bootwatch-daily.timer"] == Unit("not there", "not there")
    failed = Unit("static", "failed", "exit-code", is_needed=False, is_lasting=False)
    assert found["bootwatch-send.service"] == failed
    assert "bootwatch-kit.service" not in found


def test_an_instances_name_is_one_word() -> None:
    name = r"bootwatch-kit-to@mnt-my\x20stick.service"
    (found,) = [
        check for check in checked(replace(GOOD, **unit(name, "static", "failed", is_needed=False)))
        if check.state is State.WRONG
    ]  # fmt: skip
    assert found.mend.endswith(f"sudo systemctl start '{name}'")


def test_units_are_those_that_are_enabled_when_it_is_installed() -> None:
    script = (Path(__file__).parents[2] / "packaging/install").read_text()
    named = script.partition("started=(")[2].partition(")")[0].split()
    assert set(UNITS) == {*named, "bootwatch-shutdown.service"}
    assert {f"resume={name}" for name in STARTED} <= set(script.splitlines())


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


# what is kept, damaged for real


def wrong(root: Root) -> list[tuple[str, str]]:
    """What is said to be wrong with what is kept, and how to mend it."""
    kinds = ("reading", "history", "baseline", "spares", "restore")
    found = checked(gather(Places.below(root.folder)))
    return [(one.said, one.mend) for one in found if one.state is State.WRONG and one.name in kinds]


@pytest.mark.long
def test_each_damage_to_what_is_kept_is_found_and_mended(
    hall: Root, capsys: pytest.CaptureFixture[str]
) -> None:
    bootwatch, places = Commands(hall, capsys), Places.below(hall.folder)
    save = ("baseline", "save", "--yes", "--accept-gaps", "--reason", "both start")
    assert bootwatch(*save).status == 0
    assert wrong(hall) == []

    spare = next(path for path in places.spares.iterdir() if len(path.name) == 64)
    spare.write_bytes(b"x")
    ((said, mend),) = wrong(hall)
    assert said == f"The spare {spare} is damaged." and mend.startswith(f"sudo rm -r '{spare}'. ")
    spare.unlink()
    spare.mkdir()
    ((said, mend),) = wrong(hall)
    assert said == f"The spare {spare} is damaged." and mend.startswith(f"sudo rm -r '{spare}'. ")
    spare.rmdir()
    ((said, _),) = wrong(hall)
    assert "there is no spare" in said
    bootwatch(*save)
    assert wrong(hall) == []

    log, baseline = places.baseline / "log", places.baseline / "current.yaml"
    lines, text = log.read_text(), baseline.read_text()
    log.write_text("")
    assert "put there by hand" in wrong(hall)[0][0]
    log.write_text(lines)
    baseline.write_text(text.replace("both start", "all start"))
    assert "another baseline" in wrong(hall)[0][0]
    baseline.write_text(text[:-200])
    assert "is damaged" in wrong(hall)[0][0]
    newer = text.replace("bootwatch/baseline/1", "bootwatch/baseline/2")
    baseline.write_text(newer)
    ((_, mend),) = wrong(hall)
    assert mend == "Use the newer bootwatch.", "saving one is refused"
    assert bootwatch(*save).status == 3 and baseline.read_text() == newer
    baseline.write_text(text)
    assert bootwatch("snapshot").status == 0
    assert wrong(hall) == []

    with sqlite3.connect(places.history / FILE_NAME) as database:
        version = database.execute("PRAGMA user_version").fetchone()[0]
        database.execute(f"PRAGMA user_version = {version + 1}")
        ((said, mend),) = wrong(hall)
        assert said.endswith("was written by a newer bootwatch.") and mend.startswith("Install that version")
        database.execute(f"PRAGMA user_version = {version}")
    database.close()
    assert wrong(hall) == []

    with sqlite3.connect(places.history / FILE_NAME) as database:
        database.execute("UPDATE record SET time = '2026-01-01T00:00:00Z' WHERE number = 1")
    database.close()
    ((said, mend),) = wrong(hall)
    assert said.startswith("Snapshot 1 is not as it was recorded")
    assert f"sudo mv --backup=numbered {places.history / FILE_NAME} " in mend
    # No file of it is left but the first page.
    os.truncate(places.history / FILE_NAME, 4096)
    assert len(wrong(hall)) >= 1
    (places.history / FILE_NAME).rename(places.history / "history.db.damaged")
    assert bootwatch("snapshot").status == 0
    assert wrong(hall) == []


@pytest.fixture
def owned(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Places:
    """All places as they are made when it is installed, by users who are all the caller."""
    for function, found in (
        ("pwd.getpwnam", SimpleNamespace(pw_uid=os.getuid())),
        ("grp.getgrnam", SimpleNamespace(gr_gid=os.getgid())),
    ):
        monkeypatch.setattr(f"bootwatch.service.rights.{function}", lambda name, found=found: found)
    places = Places.below(tmp_path)
    (tmp_path / "run").mkdir()
    for right in rights(places):
        right.path.parent.mkdir(parents=True, exist_ok=True)
        right.path.touch() if right.path.suffix else right.path.mkdir(exist_ok=True)
        right.path.chmod(right.mode)
    return places


def test_rights_as_they_are_made(owned: Places) -> None:
    assert list(wrong_rights(owned)) == []


@pytest.mark.parametrize("number", range(14))
def test_each_place_that_is_open_to_others(owned: Places, number: int) -> None:
    right = rights(owned)[number]
    right.path.chmod(right.mode | 0o002)
    (found,) = wrong_rights(owned)
    assert f"have the mode {right.mode:04o}, not " in found.said
    owner = f"{right.owner}:{right.group} '{right.path}'"
    assert found.mend == f"sudo chown -h {owner} && sudo chmod {right.mode:04o} '{right.path}'"


def test_files_that_are_open_missing_or_links(owned: Places) -> None:
    assert len(rights(owned)) == 14
    file = owned.spares / "9b"
    file.touch(0o640)
    assert list(wrong_rights(owned)) == []
    file.chmod(0o646)
    (found,) = wrong_rights(owned)
    assert str(file) in found.said and found.mend.endswith(f"sudo chmod 0640 '{file}'")
    file.unlink()
    owned.spares.rmdir()
    (found,) = wrong_rights(owned)
    assert found.said == f"{owned.spares} is missing." and "systemd-tmpfiles --create" in found.mend
    owned.spares.symlink_to(owned.kit)
    (found,) = wrong_rights(owned)
    assert found.said == f"{owned.spares} should be a folder, and is a link to {owned.kit}."
    owned.spares.unlink()
    owned.spares.touch(0o640)
    (found,) = wrong_rights(owned)
    assert found.said == f"{owned.spares} should be a folder, and is none."
    command = found.mend.removeprefix("sudo ").partition(" && ")[0]
    assert subprocess.run(["sh", "-c", command], check=False).returncode == 0
    assert [one.said for one in wrong_rights(owned)] == [f"{owned.spares} is missing."]


@pytest.mark.parametrize("name", ["it's;touch${IFS}x", "it's; touch x", "a\x1b[2Jb", "a\nb", "a\u202eb c"])
def test_a_name_given_by_somebody_is_one_word_and_moves_no_cursor(owned: Places, name: str) -> None:
    """What a person copies must do nothing else, whoever took the reader over."""
    file = owned.spool / name
    file.touch()
    file.chmod(0o666)
    (found,) = wrong_rights(owned)
    assert plain(found.mend, 1000) == found.mend
    command = found.mend.replace("sudo ", "").replace("bootwatch:bootwatch", f"{os.getuid()}:{os.getgid()}")
    subprocess.run(["sh", "-ec", command], cwd=owned.state, check=True)
    assert list(wrong_rights(owned)) == [] and file.stat().st_mode & 0o777 == 0o640
    assert not (owned.state / "x").exists()


def test_a_user_that_is_gone(owned: Places, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()
    (found,) = (one for one in wrong_rights(owned) if "no user" in one.said)
    assert "systemd-sysusers" in found.mend


def test_rights_are_those_that_the_folders_are_made_with(owned: Places) -> None:
    """Held against what systemd-tmpfiles goes by."""
    lines = (Path(__file__).parents[2] / "units/bootwatch.tmpfiles").read_text().splitlines()
    made = {fields[1]: fields[2:5] for fields in map(str.split, lines) if fields and fields[0] == "d"}
    ours = {f"/{one.path.relative_to(owned.root)}": one for one in rights(owned)}
    for path, (mode, owner, group) in made.items():
        if path != "/run/motd.d":
            assert (ours[path].mode, ours[path].owner, ours[path].group) == (int(mode, 8), owner, group), path
