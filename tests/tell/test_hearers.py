"""Who heard of which alert."""

from __future__ import annotations

from bootwatch.keep.receipts import Account, Receipt
from bootwatch.model.alert import Kind
from bootwatch.model.told import Told
from bootwatch.tell.hearers import Hearers


def _receipt(outcome: str, day: int, reader: str = "technician", name: str = "Anna") -> Receipt:
    time = f"2026-11-{day:02d}T07:00:00+00:00"
    return Receipt(name, outcome, "", 1, time, time, None, True, "s", reader)


def _account(stage: int, receipts: dict[str, Receipt], kind: Kind = Kind.NEWS, alert: str = "u") -> Account:
    return Account(receipts, alert=alert, stage=stage, kind=kind.value)


def _names(hearers: Hearers, stage: int) -> list[str]:
    return [one.address for one in hearers.told("u", stage)]


def test_who_got_the_newest_news_knows_and_since_when() -> None:
    receipts = {"a": _receipt("delivered", 3), "b": _receipt("delivered", 2, "owner", "Ben")}
    hearers = Hearers({"1": _account(1, receipts), "x": _account(1, {"c": receipts["a"]}, alert="other")})
    assert hearers.told("u", 1) == (
        Told("Ben", "owner", "2026-11-02T07:00:00+00:00"),
        Told("Anna", "technician", "2026-11-03T07:00:00+00:00"),
    )


def test_who_heard_only_of_an_earlier_stage_does_not_know_that_it_grew_worse() -> None:
    hearers = Hearers({"1": _account(1, {"a": _receipt("delivered", 3)})})
    hearers.note("2", _account(2, {"b": _receipt("failed", 4, name="Ben")}))
    assert _names(hearers, 1) == ["Anna"] and _names(hearers, 2) == []


def test_what_an_address_does_not_want_to_know_it_need_not() -> None:
    hearers = Hearers({"1": _account(1, {"a": _receipt("delivered", 3)})})
    hearers.note("2", _account(2, {"a": _receipt("skipped", 4)}))
    assert _names(hearers, 2) == ["Anna"]


def test_a_reminder_that_did_not_get_through_makes_nobody_forget() -> None:
    hearers = Hearers({"1": _account(1, {"a": _receipt("delivered", 3)})})
    hearers.note("2", _account(2, {"a": _receipt("failed", 9)}, Kind.REMINDER))
    assert _names(hearers, 2) == ["Anna"]


def test_receipts_from_before_there_were_alerts_say_nothing_of_one() -> None:
    hearers = Hearers({"1": _account(0, {"a": _receipt("delivered", 3)}, alert="")})
    assert hearers.told("", 9) == ()


def test_an_address_has_heard_when_something_earlier_was_delivered_or_nothing_is_known() -> None:
    receipts = {"a": _receipt("delivered", 3), "b": _receipt("failed", 3)}
    hearers = Hearers({"1": _account(1, receipts), "2": _account(2, {"b": _receipt("delivered", 4)})})
    assert [hearers.has_heard("u", 2, key) for key in "abc"] == [True, False, False]
    assert hearers.has_heard("swept", 2, "a")
