"""A test message to each address."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from bootwatch.addresses import Address
from bootwatch.model.care import Care
from bootwatch.model.level import Level
from bootwatch.places import Places
from bootwatch.problem import UsageProblem
from bootwatch.service import try_addresses
from bootwatch.service.try_addresses import Tried
from bootwatch.tell import trial
from bootwatch.tell.line import Line
from bootwatch.tell.outcome import Outcome, Result
from tests.tell.smtp import Handler, mail_server

ANNA = Address("Anna", Level.DIVERTED, "technician", "x://anna")


@pytest.fixture
def places(tmp_path: Path) -> Places:
    places = Places.below(tmp_path)
    places.addresses.parent.mkdir(parents=True)
    return places


def _write(places: Places, port: int, **more: str) -> None:
    lines = [
        f"- {{name: {name}, to: 'mailto://127.0.0.1:{port}/?from=pc@b.org&to={name.lower()}@b.org'{extra}}}"
        for name, extra in more.items()
    ]
    places.addresses.write_text("addresses:\n" + "\n".join(lines) + "\n")
    places.addresses.chmod(0o600)


def _said(tried: list[Tried]) -> list[tuple[str, Result]]:
    return [(one.address.name, one.outcome.result) for one in tried]


def test_each_address_is_tried_once_whatever_it_wants_to_know(places: Places) -> None:
    handler = Handler(answers={"RCPT ben@b.org": "450 busy"})
    (places.root / "etc/hostname").write_text("reading-room-3\n")
    places.config.write_text("language: de\n")
    with mail_server(handler) as port:
        _write(places, port, Anna=", least: stranded", Ben="", Cleo=", reader: owner")
        tried = try_addresses.try_addresses(places, [])
    assert _said(tried) == [("Anna", "delivered"), ("Ben", "failed"), ("Cleo", "delivered")]
    assert "refuses the recipient: 450 busy" in tried[1].outcome.why
    mails = {str(mail["To"]): mail for mail in handler.mails}
    assert mails["anna@b.org"]["Subject"] == "reading-room-3: a test, nothing happened"
    assert mails["cleo@b.org"]["Subject"] == "reading-room-3: Nur eine Probe: Sie brauchen nichts zu tun"
    assert not places.receipts.exists() and not places.state.exists()


def test_only_those_who_are_named_are_tried(places: Places) -> None:
    handler = Handler()
    with mail_server(handler) as port:
        _write(places, port, Anna="", Ben="")
        tried = try_addresses.try_addresses(places, ["Ben"])
    assert _said(tried) == [("Anna", "skipped"), ("Ben", "delivered")] and tried[0].outcome.why
    assert handler.recipients == ["ben@b.org"]


def test_who_is_not_there_can_not_be_tried(places: Places) -> None:
    with pytest.raises(UsageProblem, match="Nobody is told anything"):
        try_addresses.try_addresses(places, [])
    _write(places, 9, Anna="")
    with pytest.raises(UsageProblem, match="no address called Ben") as caught:
        try_addresses.try_addresses(places, ["Ben"])
    assert "Anna" in caught.value.hint


def test_the_file_may_be_handed_over(places: Places) -> None:
    handler = Handler()
    with mail_server(handler) as port:
        _write(places, port, Anna="")
        given = places.addresses.read_bytes()
        places.addresses.write_text("nonsense")
        assert _said(try_addresses.try_addresses(places, [], given)) == [("Anna", "delivered")]


def test_one_that_hangs_or_breaks_is_its_own_trouble(monkeypatch: pytest.MonkeyPatch) -> None:
    hang = threading.Event()

    def attempt(address: Address, line: Line) -> Outcome:
        if address.name == "hangs":
            hang.wait(20)
        if address.name == "breaks":
            raise RuntimeError("s3cret")
        return Outcome.delivered()

    names = ["hangs", "breaks", *(f"n{number}" for number in range(8))]
    asked = [Address(name, Level.WEAKENED, "technician", f"x://{name}") for name in names]
    outcomes = try_addresses._all(asked, attempt, limit=0.2)
    hang.set()
    assert [one.result for one in outcomes] == ["failed", "failed"] + ["delivered"] * 8
    assert "no answer within" in outcomes[0].why and outcomes[1].why == "unexpected RuntimeError"


def test_a_test_says_that_it_is_one() -> None:
    said = trial.trial(ANNA, "study", Care())
    assert said.subject == "study: a test, nothing happened"
    assert said.body.startswith("This is a test. Nothing happened on study.\n\n")
    assert "one doesn't start any more (least: diverted)" in " ".join(said.body.split())
    assert max(map(len, said.body.splitlines())) <= 74


def test_owners_are_told_in_their_words() -> None:
    owner = Address("Ben", Level.DIVERTED, "owner", "x://ben")
    body = " ".join(trial.trial(owner, "study", Care()).body.split())
    assert body.startswith("This message is only a test. Nothing is wrong with the computer")
    assert "diverted" not in body and "bootwatch" not in body
    german = trial.trial(owner, "study", Care(language="de")).body
    assert german.startswith("Diese Nachricht ist nur eine Probe.")
