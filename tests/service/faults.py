"""What can go wrong between the spool and a mailbox, and what must come of it.

`python -m tests.service.faults` plays all of it and prints the table of what came of it.
"""

from __future__ import annotations

import logging
import socket
import sys
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from unittest import mock

from bootwatch.keep import receipts as kept
from bootwatch.keep.files import write_whole
from bootwatch.model.alert import Kind
from bootwatch.model.level import Level
from bootwatch.problem import MachineProblem
from tests.service.delivering import JOURNAL, LOG_IN, STATE, World
from tests.tell.samples import message
from tests.tell.smtp import certificate

DELIVERED, REFUSED = "delivered", "failed for good"
SHOWN = frozenset({STATE, LOG_IN})
ALL = SHOWN | {JOURNAL}
_FIFTY = tuple(f"N{number:02}" for number in range(50))


@dataclass(frozen=True)
class Fault:
    """One thing that goes wrong. ``play`` makes it happen and mends it; the rest is what must come of it.

    ``attempts`` and ``outcome`` are those of the first address; ``copies`` is what the server took for each
    address, of ``mails`` different mails. ``said``: where it was ever shown, ``still``: where at the end.
    """

    name: str
    play: Callable[[World], None]
    attempts: int = 2
    copies: Mapping[str, int] = field(default_factory=lambda: {"Anna": 1})
    outcome: str = DELIVERED
    mails: int = 1
    said: frozenset[str] = frozenset({STATE})
    still: frozenset[str] = frozenset()
    why: str = ""
    quick: bool = False


@dataclass(frozen=True)
class Found:
    """What came of it."""

    attempts: int
    copies: Mapping[str, int]
    outcome: str
    mails: int
    said: frozenset[str]
    still: frozenset[str]
    why: str


def play(fault: Fault, folder: Path) -> Found:
    with World(folder) as world:
        fault.play(world)
        first = next(iter(world.address_of))
        receipts = [one for one in world.receipts() if one.name == first]
        outcomes = {REFUSED if one.outcome == "failed" and one.final else one.outcome for one in receipts}
        assert all(one.final for one in world.receipts()), "something is still to be tried"
        return Found(
            attempts=max(one.attempts for one in receipts),
            copies=world.copies(),
            outcome=" and ".join(sorted(outcomes)),
            mails=world.different_mails(),
            said=frozenset(world.said),
            still=frozenset(world.still),
            why=world.why,
        )


def _start(world: World, *names: str) -> None:
    world.tell(*(names or ("Anna",)))
    world.spool(message())


def _network_down(world: World) -> None:
    _start(world)
    assert world.run().left == 1
    world.go_up()
    world.run_until_done()


def _no_name(world: World) -> None:
    world.tell("Anna", host="localhost")
    world.spool(message())
    world.go_up()
    trouble = socket.gaierror(socket.EAI_AGAIN, "Temporary failure in name resolution")
    with mock.patch("socket.getaddrinfo", side_effect=trouble):
        assert world.run().left == 1
    world.run_until_done()


def _answers(**answers: str | None) -> Callable[[World], None]:
    """Once so, and then as usual."""

    def played(world: World) -> None:
        _start(world)
        world.answer(**answers)
        world.go_up()
        world.run()
        world.answer()
        world.run_until_done()

    return played


def _password(world: World) -> None:
    world.tell("Anna", password="wrong-one")
    world.spool(message())
    world.go_up()
    world.run_until_done()


def _password_mended(world: World) -> None:
    _password(world)
    world.tell("Anna")
    world.run_until_done()


def _login_later(world: World) -> None:
    world.tell("Anna", password="wrong-one")
    world.spool(message())
    world.answer(AUTH="454 4.7.0 temporary authentication failure")
    world.go_up()
    assert world.run().left == 1
    world.handler.login = (b"pc", b"wrong-one")
    world.run_until_done()


def _no_encryption(world: World) -> None:
    _start(world)
    world.go_up(encrypted=False)
    assert world.run().left == 1 and world.handler.logins == []
    world.go_down()
    world.go_up()
    world.run_until_done()


def _certificate(name: str, address: str | None) -> Callable[[World], None]:
    def played(world: World) -> None:
        _start(world)
        with tempfile.TemporaryDirectory() as other:
            tls = certificate(Path(other), name, address)
            trusted = Path(other) / "ca.pem"
            trust = str(trusted) if name == "elsewhere.example.org" else str(world.folder / "ca.pem")
            world.go_up(tls)
            with mock.patch.dict("os.environ", {"SSL_CERT_FILE": trust}):
                assert world.run().left == 1 and world.handler.logins == []
            world.go_down()
        world.go_up()
        world.run_until_done()

    return played


def _never_answers(world: World) -> None:
    world.limit = 1.5
    _answers(taken="...")(world)


def _power_cut(side: str, number: int) -> Callable[[World], None]:
    def played(world: World) -> None:
        _start(world)
        world.go_up()
        world.run_and_cut_power(side, number)
        world.run()
        world.run_until_done()
        world.later(days=1)
        world.run_until_done()

    return played


def _disk_full(world: World) -> None:
    """The receipt of the attempt can still be kept, and that of the delivery can't."""
    _start(world)
    world.go_up()
    written: list[Path] = []

    def full(path: Path, *rest: object) -> None:
        written.append(path)
        if len(written) > 1 and path.suffix == ".json":
            raise OSError(28, "No space left on device")
        write_whole(path, *rest)  # type: ignore[arg-type]

    # The key of receipts is written first, at the very first run.
    kept.Receipts(world.places.receipts).open()
    with mock.patch("bootwatch.keep.receipts.write_whole", full):
        try:
            world.run()
        except MachineProblem as problem:
            assert "the disk has room" in problem.hint
    world.run()
    world.run_until_done()


def _clock_put_back(world: World) -> None:
    _start(world)
    for _ in range(6):
        assert world.run().left == 1
        world.later(hours=6)
    world.later(days=-3 * 365)
    world.go_up()
    assert world.run().left == 0


def _ten_days(world: World) -> None:
    """Switched on for eight hours a day, and tried each hour if it is time; the server is busy for ten days.

    Waits of 5, 10, 20, 40 and 80 minutes and of 2:40 hours: six attempts on the first day. Then waits of 5:20
    and 6 hours: two on each of nine days, and the last.
    """
    _start(world)
    world.answer(RCPT="450 4.2.1 mailbox busy")
    world.go_up()
    for _ in range(10):
        for _ in range(8):
            assert world.run().left == 1
            world.later(hours=1)
        world.later(hours=16)
    world.answer()
    assert world.run().left == 0


def _for_ever(world: World) -> None:
    _start(world)
    world.answer(RCPT="450 4.2.1 mailbox busy")
    world.go_up()
    # The first that is more than 30 days after the first, and no earlier than the 20th.
    while world.run().left:
        world.later(hours=37)


def _three_weeks(world: World) -> None:
    """Without a network, while an alert opens and ends."""
    world.tell("Anna")
    base = replace(message(), alert="feed", called="a1", still_open=Level.WEAKENED)
    news = range(1, 5)
    told = [
        replace(base, id="1", snapshot=1),
        *(replace(base, id=f"{n}", snapshot=n, stage=n, kind=Kind.REMINDER, news=()) for n in news[1:]),
        *(replace(message(), id=f"s{n}", snapshot=n, kind=Kind.SIGN_OF_LIFE, news=()) for n in news),
        replace(
            base, id="9", snapshot=9, stage=5, kind=Kind.ALL_CLEAR, news=(), still_open=None,
            is_over=Level.WEAKENED,
        ),
    ]  # fmt: skip
    for one in sorted(told, key=lambda one: one.snapshot):
        world.spool(one)
        assert world.run().left
        world.later(days=4)
    world.go_up()
    world.run_until_done()
    first, second = world.handler.mails
    assert second["References"] == first["Message-ID"] and len(world.handler.mails) == 2


def _mixed(world: World) -> None:
    _start(world, "Ben", "Cleo", "Anna", "Dora")
    world.handler.answers.update(
        {
            "RCPT ben@example.org": "550 5.1.1 no such user",
            "RCPT cleo@example.org": "450 4.2.1 mailbox busy",
            "RCPT dora@example.org": None,
        }
    )
    world.go_up()
    assert world.run().left == 2
    world.answer()
    world.run_until_done()


def _one_of_fifty(world: World) -> None:
    _start(world, *_FIFTY)
    world.limit = 4.0
    world.handler.answers[f"RCPT {_FIFTY[0].lower()}@example.org"] = "..."
    world.go_up()
    assert world.run().left == 1
    assert sum(world.copies().values()) == 49, "the others are told in the same run"
    world.answer()
    world.run_until_done()


def _given_up(name: str, play: Callable[[World], None], why: str, *, quick: bool = False) -> Fault:
    return Fault(
        name, play, attempts=1, copies={"Anna": 0}, outcome=REFUSED, mails=0, said=ALL, still=SHOWN, why=why,
        quick=quick,
    )  # fmt: skip


FAULTS = (
    Fault("no network at the start", _network_down, why="can't be reached: Connection refused"),
    Fault("the server's name isn't found", _no_name, why="has a name that can't be looked up now"),
    Fault("greeting: 421", _answers(connect="421 too busy"), why="421 too busy"),
    Fault("greeting: 554", _answers(connect="554 not from here"), why="554 not from here"),
    Fault("greeting: line cut", _answers(connect=None), why="closed the connection"),
    Fault("MAIL: 451", _answers(MAIL="451 later"), why="refuses the sender: 451"),
    _given_up("MAIL: 553", _answers(MAIL="553 not you"), "refuses the sender: 553"),
    Fault("RCPT: 421", _answers(RCPT="421 closing"), why="421 closing"),
    Fault("RCPT: 450", _answers(RCPT="450 mailbox busy"), why="refuses the recipient: 450"),
    _given_up("RCPT: 550", _answers(RCPT="550 no such user"), "refuses the recipient: 550", quick=True),
    Fault("DATA: 451", _answers(DATA="451 later"), why="refuses the mail: 451"),
    _given_up("DATA: 554", _answers(DATA="554 no valid recipients"), "refuses the mail: 554"),
    Fault("mail's end: 452", _answers(DOT="452 no room"), why="refuses the mail: 452"),
    _given_up("mail's end: 554", _answers(DOT="554 looks like spam"), "refuses the mail: 554"),
    _given_up("wrong password: 535", _password, "refuses user or password: 535"),
    Fault(
        "wrong password, mended", _password_mended, attempts=1, said=ALL, why="refuses user or password: 535"
    ),
    Fault("log-in fails for now: 454", _login_later, why="can't check user and password now: 454"),
    Fault("no STARTTLS offered", _no_encryption, why="offers no encryption (STARTTLS)"),
    Fault(
        "certificate for another name", _certificate("elsewhere.example.org", None), why="is not valid for"
    ),
    Fault("certificate of nobody known", _certificate("localhost", "127.0.0.1"), why="self-signed"),
    Fault("line cut before DATA", _answers(RCPT=None), why="closed the connection before"),
    Fault("line cut at DATA", _answers(DATA=None), why="closed the connection before"),
    Fault(
        "line cut after the mail, before 250", _answers(taken=None), copies={"Anna": 2},
        why="closed the connection before", quick=True,
    ),
    Fault("no answer after the mail", _never_answers, copies={"Anna": 2}, why="no answer within 2 seconds"),
    Fault("power cut before an attempt's receipt", _power_cut("before", 1), attempts=1, said=frozenset()),
    Fault("power cut after an attempt's receipt", _power_cut("after", 1), why="cut off while"),
    Fault(
        "power cut after 250, before its receipt", _power_cut("before", 2), copies={"Anna": 2},
        why="cut off while",
    ),
    Fault("power cut after 250 and its receipt", _power_cut("after", 2), attempts=1, said=frozenset()),
    Fault("disk full after 250, before its receipt", _disk_full, copies={"Anna": 2}, why="cut off while"),
    Fault("clock put back three years", _clock_put_back, attempts=7, said=SHOWN, why="can't be reached"),
    Fault(
        "busy for ten days, on for 8 hours each", _ten_days, attempts=25, said=SHOWN,
        why="refuses the recipient: 450",
    ),
    replace(_given_up("busy for ever", _for_ever, "refuses the recipient: 450"), attempts=21),
    Fault(
        "three weeks without a network", _three_weeks, attempts=10, copies={"Anna": 2},
        outcome="delivered and skipped", mails=2, said=SHOWN, why="can't be reached",
    ),
    replace(
        _given_up("refused, busy, fine and cut at once", _mixed, "refuses the recipient: 550"),
        copies={"Ben": 0, "Cleo": 1, "Anna": 1, "Dora": 1}, mails=1,
    ),
    Fault(
        "one of fifty hangs", _one_of_fifty, copies=dict.fromkeys(_FIFTY, 1), why="no answer within 4 seconds"
    ),
)  # fmt: skip


def _row(fault: Fault, found: Found) -> tuple[str, ...]:
    counts = ", ".join(f"{name} {count}" for name, count in found.copies.items())
    same = set(found.copies.values())
    several = len(found.copies) > 4 and len(same) == 1
    copies = f"{len(found.copies)} addresses: {same.pop()} each" if several else counts
    said = ", ".join(sorted(found.said)) or "nowhere"
    still = "yes" if found.still else "no"
    return fault.name, str(found.attempts), copies, found.outcome, said, still, found.why or "-"


def table() -> str:
    """What comes of every fault."""
    # The mail server logs every line that is cut.
    logging.disable(logging.CRITICAL)
    rows: list[tuple[str, ...]] = [
        ("fault", "attempts", "copies", "outcome", "said where", "still", "what was said first")
    ]
    for fault in FAULTS:
        with tempfile.TemporaryDirectory() as folder:
            rows.append(_row(fault, play(fault, Path(folder))))
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]) - 1)]
    rows.insert(1, tuple("-" * len(title) for title in rows[0]))
    return "".join(
        "  ".join([*(cell.ljust(width) for cell, width in zip(row, widths, strict=False)), row[-1]]) + "\n"
        for row in rows
    )


if __name__ == "__main__":
    sys.stdout.write(table())
