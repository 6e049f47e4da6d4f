"""In which order the send unit delivers, and what it leaves out."""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from bootwatch.keep.receipts import utc_now
from bootwatch.keep.spool import Spool
from bootwatch.model.alert import Kind
from bootwatch.model.level import Level
from bootwatch.service.send import deliver_spooled, send
from tests.service.spooled import Machine, to
from tests.tell.samples import message
from tests.tell.smtp import Handler, Scripted, free_port, mail_server


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    return Machine(tmp_path)


class SpoolingHandler(Handler):
    """While it takes the first mail, the reader spools another message."""

    def __init__(self, spool: Spool) -> None:
        super().__init__()
        self._spool = spool

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802
        if not self.mails:
            self._spool.put(message(identity="b", snapshot=6))
        return await super().handle_DATA(server, session, envelope)


def test_what_is_spooled_meanwhile_is_sent_in_the_same_run(machine: Machine) -> None:
    """Nothing starts another run for it: systemd drops what it sees while the unit is running."""
    machine.spool.put(message(identity="a", snapshot=5))
    handler = SpoolingHandler(machine.spool)
    with mail_server(handler) as port:
        machine.addresses(f"[{to(port)}]")
        assert send(machine.places) == 0
    assert len(handler.mails) == 2


def test_messages_of_one_reading_go_out_in_the_order_of_alert_and_stage(machine: Machine) -> None:
    handler = Handler()
    over, opened = "a" * 16, "b" * 16
    clear = replace(message(identity="1"), kind=Kind.ALL_CLEAR, is_over=Level.STRANDED)
    spooled = [
        replace(message(identity="2"), alert=opened, called="a10", stage=1),
        replace(clear, alert=over, called="a9", stage=2),
        replace(message(identity="3"), alert=over, called="a9", stage=1),
    ]
    for one in spooled:
        machine.spool.put(one)
    with mail_server(handler) as port:
        machine.addresses(f"[{to(port)}]")
        sent = deliver_spooled(machine.places)
    told = [(one.task.message.called, one.task.message.stage) for one in sent.deliveries]
    assert told == [("a9", 1), ("a9", 2), ("a10", 1)]


def test_what_comes_later_does_not_overtake_what_waits(machine: Machine) -> None:
    now = [utc_now()]
    machine.spool.put(message(identity="a", snapshot=5))
    with Scripted(RCPT="450 busy") as server:
        machine.addresses(f"[{to(server.port)}]")
        assert deliver_spooled(machine.places, lambda: now[0]).left == 1
        machine.spool.put(message(identity="b", snapshot=6))
        # Something new is a reason to try at once, and only once; then both wait.
        for tried in (1, 0, 0):
            now[0] += datetime.timedelta(minutes=1)
            sent = deliver_spooled(machine.places, lambda: now[0])
            assert ([one.task.message.snapshot for one in sent.deliveries], sent.left) == ([5] * tried, 2)
        server.answers["RCPT"] = "250 OK"
        now[0] += datetime.timedelta(minutes=10)
        sent = deliver_spooled(machine.places, lambda: now[0])
    assert [one.task.message.snapshot for one in sent.deliveries] == [5, 6] and server.mails == 2


@pytest.mark.long
def test_after_weeks_without_a_network_one_sign_of_life_is_enough(machine: Machine) -> None:
    handler, now = Handler(), [utc_now()]
    gone = free_port()
    machine.addresses(f"[{to(gone)}]")
    for week in range(3):
        sign = replace(message(identity=f"s{week}", snapshot=week + 1), kind=Kind.SIGN_OF_LIFE)
        machine.spool.put(sign)
        assert deliver_spooled(machine.places, lambda: now[0]).left == 1
        now[0] += datetime.timedelta(days=7)
    with mail_server(handler, port=gone):
        assert deliver_spooled(machine.places, lambda: now[0]).left == 0
    assert len(handler.mails) == 1
    assert [outcome for _, outcome, _ in machine.outcomes()] == ["skipped", "skipped", "delivered"]
