"""Alerts in a machine's life, through all that records, compares and hands over."""

from __future__ import annotations

import datetime
import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from bootwatch.addresses import Address
from bootwatch.cli.main import main
from bootwatch.keep import alerts
from bootwatch.keep.history import History
from bootwatch.keep.receipts import Account, Receipt, Receipts
from bootwatch.keep.spool import Spool, receipt_name
from bootwatch.model.alert import Alert, Kind, Stage
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.places import Places
from bootwatch.problem import UsageProblem
from bootwatch.service.alerts import published, told_by
from bootwatch.service.read import keep_snapshot, recompare
from bootwatch.service.until import until
from bootwatch.tell.alerts_report import alerts_report
from bootwatch.tell.delivery import skipped
from tests.situations.machine import Machine
from tests.situations.play import save
from tests.situations.steps import BEGIN, Course

LOADER = "\\EFI\\quarry\\startx64.efi"
GONE = {"files on quarry-esp": {LOADER: "gone", "\\EFI\\BOOT\\BOOTX64.EFI": "gone"}}
BACK = {
    "files on quarry-esp": {
        LOADER: "program quarry-loader 11",
        "\\EFI\\BOOT\\BOOTX64.EFI": "program quarry-loader 11",
    }
}


class Pantry:
    """The usual machine of the situations with its baseline saved."""

    def __init__(self, folder: Path) -> None:
        (folder / "sys/firmware/efi").mkdir(parents=True)
        (folder / "run").mkdir()
        self.places = Places.below(folder)
        self._course = Course(Machine.load("usual"))
        self._now = datetime.datetime.fromisoformat(BEGIN)
        keep_snapshot(self.places, self._course.step({"moment": "asked"}), tell=False)
        save(self.places)

    def boot(self, what: dict[str, Any] | None = None, **later: float) -> list[Message]:
        """A start, some time after the last look: the messages that came of it."""
        self._now += datetime.timedelta(**(later or {"hours": 1}))
        clock = self._now.strftime("%Y-%m-%dT%H:%M:%SZ")
        before = {path.name for path, _ in self._spooled()}
        keep_snapshot(self.places, self._course.step({"moment": "boot", "clock": clock, **(what or {})}))
        return [message for path, message in self._spooled() if path.name not in before]

    def called_good(self) -> list[Message]:
        """A person saves the baseline anew."""
        before = {path.name for path, _ in self._spooled()}
        save(self.places)
        recompare(self.places)
        return [message for path, message in self._spooled() if path.name not in before]

    def _spooled(self) -> list[tuple[Path, Message]]:
        return list(Spool(self.places.spool).messages(lambda path, why: pytest.fail(f"{path}: {why}")))

    def alert(self) -> Alert:
        with History.look(self.places.history) as history:
            assert history
            return alerts.listed(history)[0]

    def published(self) -> dict[str, Any]:
        document: dict[str, Any] = json.loads((self.places.root / "run/bootwatch/alert.json").read_text())
        return document

    def log_in(self) -> str:
        return (self.places.root / "run/bootwatch/motd").read_text()

    def told(self, *outcomes: tuple[str, str, str]) -> None:
        """The newest message got through or not: address, outcome, why."""
        path, message = max(self._spooled(), key=lambda one: (one[1].snapshot, one[1].stage))
        receipts = {
            name: Receipt(
                name,
                outcome,
                why,
                3,
                message.time,
                message.time,
                None,
                final=True,
                settings="",
                reader="owner",
            )
            for name, outcome, why in outcomes
        }
        self.places.receipts.mkdir(parents=True, exist_ok=True)
        Receipts(self.places.receipts).write(receipt_name(path), Account(receipts, settled=True))


@pytest.fixture
def pantry(tmp_path: Path) -> Iterator[Pantry]:
    yield Pantry(tmp_path / "pantry")


@pytest.mark.long
def test_an_alert_from_news_to_all_clear(pantry: Pantry) -> None:
    (news,) = pantry.boot(GONE)
    assert (news.kind, news.called, news.stage, news.still_open) == (Kind.NEWS, "a1", 1, Level.STRANDED)
    assert pantry.published()["message"]["alert"] == news.alert
    assert pantry.boot(days=6) == []
    (reminder,) = pantry.boot(days=1)
    assert (reminder.kind, reminder.alert, reminder.stage) == (Kind.REMINDER, news.alert, 2)
    (over,) = pantry.boot(BACK, days=2)
    assert (over.kind, over.alert, over.stage) == (Kind.ALL_CLEAR, news.alert, 3)
    assert (over.is_over, over.still_open) == (Level.STRANDED, None)
    assert over.how == "the machine is back at its baseline"
    assert pantry.published()["message"]["alert"] == ""
    assert pantry.boot(days=30) == []


@pytest.mark.long
def test_all_clear_when_a_person_calls_it_good(pantry: Pantry) -> None:
    pantry.boot(GONE)
    (over,) = pantry.called_good()
    assert over.kind is Kind.ALL_CLEAR and over.still_open is None
    assert over.how.startswith('root called this state good, 2026-03-02 08:00 UTC ("both systems start")')
    assert pantry.boot() == []
    assert pantry.alert().how == over.how


@pytest.mark.long
def test_least_level_at_the_sender(pantry: Pantry) -> None:
    """Who hears of the gravest only hears that it is over as soon as that is; the other when all is."""
    pantry.boot(GONE)
    half = {"files on quarry-esp": {LOADER: "program quarry-loader 11"}}
    (better,) = pantry.boot(half)
    assert (better.kind, better.is_over) == (Kind.ALL_CLEAR, Level.STRANDED)
    assert better.still_open in (Level.WEAKENED, Level.CHANGED)
    grave, all_of_it = (
        Address(level.value, level, "technician", "") for level in (Level.STRANDED, better.still_open)
    )
    assert skipped(grave, better) is None
    assert "not over yet" in skipped(all_of_it, better).why  # type: ignore[union-attr]
    (over,) = pantry.boot(BACK)
    assert skipped(all_of_it, over) is None
    assert "below stranded" in skipped(grave, over).why  # type: ignore[union-attr]


@pytest.mark.long
def test_commands(pantry: Pantry, capsys: pytest.CaptureFixture[str]) -> None:
    def said(*arguments: str) -> tuple[int, str]:
        capsys.readouterr()
        status = main(["--root", str(pantry.places.root), "alerts", *arguments])
        return status, capsys.readouterr().out

    assert said() == (0, "pantry: no alert is open.\n")
    pantry.boot(GONE)
    pantry.told(
        ("ada", "delivered", ""), ("desk", "skipped", "why not"), ("bob", "failed", "550 no such user")
    )
    pantry.boot(days=7)
    status, text = said()
    assert status == 1
    assert "a1  stranded, open since 2026-03-02 09:00 UTC" in text
    assert "    told      ada, 2026-03-02 09:00 UTC" in text
    assert "    skipped   desk: why not" in text
    assert "    not told  bob: 550 no such user (given up after 3 attempts)" in text
    assert "Nobody was tried yet" in text  # the reminder
    assert all(len(line) <= 80 for line in text.splitlines())
    assert said("quiet", "a1", "--until", "2w")[0] == 0
    assert pantry.alert().quiet_until == pantry.published()["quiet_until"] != ""
    assert "\n  No reminders before 20" in pantry.log_in()
    pantry.boot(days=1)
    assert pantry.log_in().count("\n  No reminders before 20") == 1
    assert "No reminders before" in said()[1]
    assert said("quiet", "a1", "--until", "now") == (0, "a1 is reminded of again.\n")
    assert pantry.alert().quiet_until == pantry.published()["quiet_until"] == ""
    assert "No reminders" not in pantry.log_in() != ""
    pantry.boot(BACK)
    document = json.loads(said("--json")[1])
    (alert,) = document["alerts"]
    assert [one["kind"] for one in alert["tellings"]] == ["news", "reminder", "all-clear"]
    assert all(one["state"] == "over" for one in alert["what"]) and alert["ended"]
    assert said("quiet", "a1", "--until", "2w")[0] == said("quiet", "a9", "--until", "2w")[0] == 2


@pytest.mark.long
def test_what_anybody_may_know(pantry: Pantry) -> None:
    (news,) = pantry.boot(GONE)
    send = pantry.places.root / "run/bootwatch/send"
    send.mkdir()
    told = [
        {"alert": alert, "address": name, "reader": "owner", "time": news.time}
        for alert, name in ((news.alert, "ada"), ("another", "bob"))
    ]
    failed = {"message": "m", "address": "desk", "why": "550 \x1b no", "attempts": 1, "for_good": True}
    state = {"told": told, "untold": [failed], "mistakes": []}
    (send / "state.json").write_text(json.dumps(state))
    document = published(pantry.places)
    assert document and [one["name"] for one in document["alerts"]] == ["a1"]
    text = alerts_report(document)
    assert "a1  stranded, open since 2026-03-02 09:00 UTC" in text
    assert "    told      ada, 2026-03-02 09:00 UTC\n    not told  desk: 550 \\x1b no (given up" in text
    assert "bob" not in text and "sudo bootwatch alerts\n" in text
    pantry.boot(BACK)
    document = published(pantry.places)
    assert document and alerts_report(document).startswith("pantry: no alert is open.\n")


def test_receipts_that_may_not_be_read_are_said_to_be(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    places = Places.below(tmp_path)
    places.receipts.mkdir(parents=True)
    monkeypatch.setattr("bootwatch.service.alerts.os.access", lambda path, how: False)
    stage = Stage(1, Kind.NEWS, 3, BEGIN, Level.STRANDED, None, "", (), "", "m", True)
    assert told_by(places, stage)["receipts"] == "denied"


def test_no_alert_without_a_baseline(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--root", str(tmp_path), "alerts"]) == 4
    assert capsys.readouterr().out == "this machine: no alert is open.\n"
    assert main(["--root", str(tmp_path), "alerts", "--json"]) == 4
    assert json.loads(capsys.readouterr().out)["alerts"] == []


def test_one_document_where_the_baseline_is_damaged(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "var/lib/bootwatch/baseline/current.yaml"
    file.parent.mkdir(parents=True)
    file.write_bytes(b"state: \x82")
    assert main(["--root", str(tmp_path), "alerts", "--json"]) == 3
    said = capsys.readouterr()
    assert json.loads(said.out)["alerts"] == [] and "current.yaml is damaged" in said.err


@pytest.mark.long
@pytest.mark.parametrize("is_spooled", [False, True])
def test_power_cut_about_the_spool(is_spooled: bool, pantry: Pantry, monkeypatch: pytest.MonkeyPatch) -> None:
    put = Spool.put

    def cut(spool: Spool, message: Message) -> Path:
        if is_spooled:
            put(spool, message)
        raise KeyboardInterrupt

    monkeypatch.setattr(Spool, "put", cut)
    with pytest.raises(KeyboardInterrupt):
        pantry.boot(GONE)
    monkeypatch.undo()
    later = [message.kind for message in pantry.boot()]
    assert later == ([] if is_spooled else [Kind.NEWS])
    assert [stage.kind for stage in pantry.alert().stages] == [Kind.NEWS]
    assert [message.kind for message in pantry.boot(BACK)] == [Kind.ALL_CLEAR]


def test_root_has_the_reader_make_it_quiet(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    ran: list[list[str]] = []

    def as_reader(command: list[str]) -> int:
        ran.append(command)
        return 0

    monkeypatch.setattr("bootwatch.cli.alerts.must_ask", lambda places: True)
    monkeypatch.setattr("bootwatch.cli.alerts.as_reader", as_reader)
    main(["--root", str(tmp_path), "alerts", "quiet", "a3", "--until", "2w", "--json"])
    assert ran == [["alerts", "quiet", "--json", "--until", "2w", "--", "a3"]]
    assert main(["--root", str(tmp_path), "alerts", "quiet", "a3", "--until", "2020-01-01"]) == 2
    assert len(ran) == 1


NOON = datetime.datetime(2026, 11, 25, 12, tzinfo=datetime.timezone(datetime.timedelta(hours=1)))


@pytest.mark.parametrize(
    ("text", "end"),
    [
        ("3d", "2026-11-28T12:00:00+01:00"),
        ("2w", "2026-12-09T12:00:00+01:00"),
        ("12h", "2026-11-26T00:00:00+01:00"),
        ("2026-12-24", "2026-12-24T00:00:00+01:00"),
        ("2026-12-24 18:00", "2026-12-24T18:00:00+01:00"),
        ("2026-12-24T18:00:00Z", "2026-12-24T18:00:00+00:00"),
    ],
)
def test_until(text: str, end: str) -> None:
    found = until(text, NOON, NOON.tzinfo)
    assert found and found.isoformat() == end


def test_until_a_day_on_which_clocks_go_otherwise_than_today(monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as patched:
        patched.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
        time.tzset()
        found = until("2027-07-24 18:00", NOON)
    time.tzset()
    assert found and found.astimezone(datetime.UTC).hour == 16


def test_until_now_and_what_is_no_time() -> None:
    assert until("now", NOON) is None
    for text, says in (
        ("2026-11-25", "past"),
        ("0d", "past"),
        ("3 moons", "no time"),
        ("", "no time"),
        ("9999w", "far"),
        ("0001-01-01", "past|no time"),
    ):
        with pytest.raises(UsageProblem, match=says):
            until(text, NOON)
