"""When a message is tried, tried again and given up."""

from __future__ import annotations

import datetime
from dataclasses import replace

from bootwatch.addresses import Address
from bootwatch.keep.receipts import Account, Receipt
from bootwatch.model.level import Level
from bootwatch.tell.outcome import Outcome
from bootwatch.tell.schedule import CUT_OFF, begun, ended, is_turn, is_waiting, wait_after

NOW = datetime.datetime(2026, 11, 25, 7, 0, tzinfo=datetime.UTC)
MINUTE = datetime.timedelta(minutes=1)
DAY = datetime.timedelta(days=1)
ANNA = Address("Anna", Level.WEAKENED, "technician", "x://anna")
LATER = Outcome.failed("busy", for_good=False)


def _failed(attempts: int = 1, outcome: Outcome = LATER) -> Receipt:
    receipt = None
    for _ in range(attempts):
        receipt = ended(begun(receipt, ANNA, "s", "m1", NOW), outcome, NOW)
    assert receipt is not None
    return receipt


def test_waits_double_up_to_six_hours() -> None:
    assert [wait_after(n) // MINUTE for n in (1, 2, 3, 4, 7, 8, 100)] == [5, 10, 20, 40, 320, 360, 360]


def _is_turn(receipt: Receipt | None, now: datetime.datetime, settings: str = "s", name: str = "m1") -> bool:
    return is_turn([(name, receipt)], settings, now)


def test_a_failed_message_waits_and_then_is_due() -> None:
    receipt = _failed(2)
    assert receipt.attempts == 2 and is_waiting(receipt, Account(), "s")
    assert not _is_turn(receipt, NOW + 9 * MINUTE)
    assert _is_turn(receipt, NOW + 10 * MINUTE)
    assert (receipt.last_try, receipt.next_try) == ("2026-11-25T07:00:00Z", "2026-11-25T07:10:00Z")


def test_a_newer_message_waits_with_the_oldest_once_it_was_there_at_an_attempt() -> None:
    line = [("m1", _failed(2)), ("m2", None)]
    assert is_turn(line, "s", NOW + MINUTE), "it came since the last attempt"
    tried = ended(begun(_failed(2), ANNA, "s", "m2", NOW), LATER, NOW)
    line = [("m1", tried), ("m2", None)]
    assert not is_turn(line, "s", NOW + 19 * MINUTE)
    assert is_turn(line, "s", NOW + 20 * MINUTE)


def test_a_clock_that_was_put_back_does_not_hold_a_message_for_years() -> None:
    assert _is_turn(_failed(), NOW - 20 * 365 * DAY)


def test_a_power_cut_in_mid_send_counts_as_an_attempt_and_is_tried_again() -> None:
    receipt = begun(None, ANNA, "s", "m1", NOW)
    assert (receipt.outcome, receipt.why, receipt.final) == ("failed", CUT_OFF, False)
    assert is_waiting(receipt, Account(), "s") and _is_turn(receipt, NOW + 5 * MINUTE)


def test_what_is_final_stays_so_until_the_address_is_mended() -> None:
    refused = _failed(outcome=Outcome.failed("no such user", for_good=True))
    assert not is_waiting(refused, Account(), "s")
    assert is_waiting(refused, Account(), "mended") and _is_turn(refused, NOW, "mended")
    assert begun(refused, ANNA, "mended", "m1", NOW).attempts == 1
    delivered = _failed(outcome=Outcome.delivered())
    assert not is_waiting(delivered, Account(), "mended")


def test_a_mended_address_does_not_wait() -> None:
    assert _is_turn(_failed(8), NOW, "mended")


def test_it_is_given_up_after_a_month_of_attempts_and_not_after_a_month_switched_off() -> None:
    receipt = _failed(3)
    for late, final in ((NOW + 40 * DAY, False), (NOW + 60 * DAY, False)):
        receipt = ended(begun(receipt, ANNA, "s", "m1", late), LATER, late)
        assert receipt.final is final
    for _ in range(20):
        receipt = ended(begun(receipt, ANNA, "s", "m1", NOW + 61 * DAY), LATER, NOW + 61 * DAY)
        if receipt.final:
            break
    assert receipt.final and receipt.attempts == 20
    assert receipt.why == "busy (given up after 20 attempts)" and receipt.next_try is None


def test_a_new_address_gets_what_is_under_way_or_reached_nobody() -> None:
    told = Account({"a": _failed(outcome=Outcome.delivered())}, settled=True)
    unheard = Account({"a": _failed(outcome=Outcome.failed("no", for_good=True))}, settled=True)
    assert not is_waiting(None, told, "s")
    assert is_waiting(None, replace(told, settled=False), "s")
    assert is_waiting(None, unheard, "s")
    assert is_waiting(None, Account(settled=True), "s")
