"""Working off what is due: in order, each by itself, with a receipt before anything else."""

from __future__ import annotations

import threading
import time
from dataclasses import replace
from pathlib import Path

import pytest

from bootwatch.addresses import Address
from bootwatch.keep.receipts import Account, Receipts
from bootwatch.model.alert import Kind
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.tell.delivery import Context
from bootwatch.tell.line import Line
from bootwatch.tell.outcome import Outcome, Result
from bootwatch.tell.sender import UNHEARD, Sender, Task
from tests.tell.samples import message

LATER = Outcome.failed("busy", for_good=False)


@pytest.fixture
def receipts(tmp_path: Path) -> Receipts:
    receipts = Receipts(tmp_path / "send")
    receipts.open()
    return receipts


def _task(name: str, number: int = 1, least: Level = Level.WEAKENED) -> Task:
    sample = message(snapshot=number, identity=f"m{number}")
    return Task(f"{number}.json", sample, Address(name, least, "technician", f"x://{name}"), name, "s")


def test_each_address_gets_its_messages_in_order_and_each_a_receipt(receipts: Receipts) -> None:
    told: list[tuple[str, int]] = []

    def deliver(address: Address, one: Message, line: Line, context: Context) -> Outcome:
        # What was told before is on disk already.
        for name, number in told:
            if name == address.name:
                assert receipts.read(f"{number}.json").receipts[name].outcome == "delivered"
        told.append((address.name, one.snapshot))
        return Outcome.delivered()

    sender = Sender(receipts, deliver)
    sender.run([_task(name, number) for number in (1, 2, 3) for name in ("a", "b")])
    assert [number for name, number in told if name == "a"] == [1, 2, 3]
    assert len(sender.deliveries) == 6
    assert all(set(receipts.read(f"{number}.json").receipts) == {"a", "b"} for number in (1, 2, 3))


def test_a_receipt_is_there_before_the_attempt(receipts: Receipts) -> None:
    seen: list[Account] = []

    def deliver(address: Address, one: Message, line: Line, context: Context) -> Outcome:
        seen.append(receipts.read("1.json"))
        return Outcome.delivered()

    Sender(receipts, deliver).run([_task("a")])
    assert seen[0].receipts["a"].outcome == "failed" and not seen[0].receipts["a"].final


def test_after_a_failure_the_address_is_left_alone(receipts: Receipts) -> None:
    sender = Sender(receipts, lambda *given: LATER)
    sender.run([_task("a", 1), _task("a", 2)])
    assert [one.outcome.result for one in sender.deliveries] == [Result.FAILED]
    assert receipts.read("2.json") == Account()


def test_a_refusal_for_good_does_not_keep_the_next_message_back(receipts: Receipts) -> None:
    sender = Sender(receipts, lambda *given: Outcome.failed("no", for_good=True))
    sender.run([_task("a", 1), _task("a", 2)])
    assert len(sender.deliveries) == 2


def test_what_is_below_the_least_level_is_skipped(receipts: Receipts) -> None:
    def deliver(address: Address, one: Message, line: Line, context: Context) -> Outcome:
        pytest.fail("delivered")

    Sender(receipts, deliver).run([_task("a", least=Level.DIVERTED)])
    receipt = receipts.read("1.json").receipts["a"]
    assert (receipt.outcome, receipt.final) == ("skipped", True)
    assert receipt.why == "weakened is below diverted, the least level of this address"


def test_one_that_hangs_holds_up_nobody_else(receipts: Receipts) -> None:
    hang, done = threading.Event(), []

    def deliver(address: Address, one: Message, line: Line, context: Context) -> Outcome:
        if address.name == "hangs":
            hang.wait(60)
            return LATER
        done.append(address.name)
        return Outcome.delivered()

    sender = Sender(receipts, deliver, limit=0.3)
    began = time.monotonic()
    sender.run([_task("hangs"), _task("hangs", 2), *(_task(f"n{number}") for number in range(49))])
    took = time.monotonic() - began
    hang.set()
    assert len(done) == 49 and took < 10
    receipt = receipts.read("1.json").receipts["hangs"]
    assert "no answer within" in receipt.why and not receipt.final
    assert "hangs" not in receipts.read("2.json").receipts


def test_more_that_hang_than_can_be_tried_at_once_all_get_their_turn(receipts: Receipts) -> None:
    hang = threading.Event()

    def deliver(address: Address, one: Message, line: Line, context: Context) -> Outcome:
        hang.wait(60)
        return LATER

    sender = Sender(receipts, deliver, limit=0.1, at_once=2)
    sender.run([_task(f"n{number}") for number in range(5)])
    hang.set()
    assert len(sender.deliveries) == 5


def test_a_late_good_answer_counts_and_a_late_bad_one_does_not(receipts: Receipts) -> None:
    answers = {"good": Outcome.delivered(), "bad": Outcome.failed("no", for_good=True)}
    late = threading.Event()

    def deliver(address: Address, one: Message, line: Line, context: Context) -> Outcome:
        late.wait(20)
        return answers[address.name]

    sender = Sender(receipts, deliver, limit=0.1)
    before = set(threading.enumerate())
    sender.run([_task("good"), _task("bad")])
    assert {one.outcome.why for one in sender.deliveries} == {
        "no answer within 0 seconds; whether it arrived is not known"
    }
    late.set()
    for thread in set(threading.enumerate()) - before:
        thread.join(5)
    account = receipts.read("1.json")
    assert account.receipts["good"].outcome == "delivered"
    assert account.receipts["bad"].outcome == "failed" and not account.receipts["bad"].final


def test_an_unexpected_error_of_one_address_is_its_own(receipts: Receipts) -> None:
    def deliver(address: Address, one: Message, line: Line, context: Context) -> Outcome:
        if address.name == "odd":
            raise RuntimeError("s3cret")
        return Outcome.delivered()

    Sender(receipts, deliver).run([_task("odd"), _task("a")])
    account = receipts.read("1.json")
    assert account.receipts["a"].outcome == "delivered"
    assert account.receipts["odd"].why == "unexpected RuntimeError"


def test_nothing_is_sent_where_no_receipt_can_be_kept(receipts: Receipts) -> None:
    told: list[str] = []

    def deliver(address: Address, one: Message, line: Line, context: Context) -> Outcome:
        told.append(address.name)
        return Outcome.delivered()

    receipts.folder.rename(receipts.folder.with_name("away"))
    with pytest.raises(OSError):
        Sender(receipts, deliver).run([_task("a"), _task("b")])
    assert told == []


def _owner(name: str, number: int = 1) -> Task:
    task = _task(name, number)
    return replace(task, address=replace(task.address, reader="owner"))


def _of_alert(task: Task, stage: int = 1, kind: Kind = Kind.NEWS) -> Task:
    over = Level.WEAKENED if kind is Kind.ALL_CLEAR else None
    return replace(task, message=replace(task.message, alert="u", stage=stage, kind=kind, is_over=over))


def test_owners_come_after_technicians_and_are_told_who_knows(receipts: Receipts) -> None:
    told: dict[str, Context] = {}

    def deliver(address: Address, one: Message, line: Line, context: Context) -> Outcome:
        told[address.name] = context
        return LATER if address.name == "busy" else Outcome.delivered()

    tasks = [_of_alert(task) for task in (_owner("owner"), _task("busy"), _task("anna"))]
    Sender(receipts, deliver, key=b"k").run(tasks)
    assert [one.address for one in told["owner"].told] == ["anna"] and list(told)[-1] == "owner"
    assert [one.reader for one in told["owner"].told] == ["technician"]
    assert told["anna"].told == () and {one.key for one in told.values()} == {b"k"}


@pytest.mark.parametrize(("limit", "patience"), [(0.2, 60.0), (60.0, 0.2)])
def test_a_technician_who_hangs_does_not_keep_the_owner_from_being_told(
    receipts: Receipts, limit: float, patience: float
) -> None:
    told = threading.Event()

    def deliver(address: Address, one: Message, line: Line, context: Context) -> Outcome:
        if address.name == "hangs":
            return LATER if told.wait(20) else pytest.fail("the owner waits for whoever hangs")
        told.set()
        return Outcome.delivered()

    Sender(receipts, deliver, limit=limit, patience=patience).run([_task("hangs"), _owner("owner")])
    assert receipts.read("1.json").receipts["owner"].outcome == "delivered"


def test_nothing_is_taken_back_where_nothing_was_told(receipts: Receipts) -> None:
    told: list[str] = []

    def deliver(address: Address, one: Message, line: Line, context: Context) -> Outcome:
        told.append(f"{address.name} {one.kind}")
        return Outcome.failed("no", for_good=True) if address.name == "refuses" else Outcome.delivered()

    news = [_of_alert(_task(name)) for name in ("takes", "refuses")]
    clear = [_of_alert(_task(name, 2), 2, Kind.ALL_CLEAR) for name in ("takes", "refuses", "new")]
    Sender(receipts, deliver).run([*news, *clear])
    assert sorted(told) == ["refuses news", "takes all-clear", "takes news"]
    assert receipts.read("2.json").receipts["new"].why == UNHEARD


def test_what_is_obsolete_is_skipped_and_says_why(receipts: Receipts) -> None:
    Sender(receipts, lambda *given: pytest.fail("told")).run([replace(_task("a"), obsolete="old")])
    receipt = receipts.read("1.json").receipts["a"]
    assert (receipt.outcome, receipt.why, receipt.final) == ("skipped", "old", True)


def test_after_its_time_nothing_new_is_begun(receipts: Receipts) -> None:
    sender = Sender(receipts, lambda *given: Outcome.delivered(), budget=0)
    sender.run([_task("a")])
    assert sender.deliveries == []
