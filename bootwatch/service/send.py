"""What the send unit runs: deliver what is spooled, keep receipts, say what could not be told."""

from __future__ import annotations

import contextlib
import fcntl
import os
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from bootwatch import addresses
from bootwatch.addresses import Address
from bootwatch.checked_yaml import SettingsProblem
from bootwatch.keep.receipts import Account, Receipts, utc_now
from bootwatch.keep.spool import Spool, receipt_name
from bootwatch.model.message import Message
from bootwatch.places import Places
from bootwatch.problem import MachineProblem, UsageProblem
from bootwatch.tell import journal, library, schedule, send_board
from bootwatch.tell.outcome import Result
from bootwatch.tell.plain import plain
from bootwatch.tell.send_board import Untold
from bootwatch.tell.sender import Delivery, Sender, Task


@dataclass(frozen=True)
class Sent:
    """What one run did. ``left``: how many deliveries must be tried again."""

    deliveries: tuple[Delivery, ...]
    left: int


def send(places: Places) -> int:
    """Deliver what is spooled, and say so; 0 when nothing is left, 1 when something must be tried again.

    Raises UsageProblem (2) for mistakes in the addresses, MachineProblem (3) when no receipts can be kept.
    """
    sent = deliver_spooled(places)
    for delivery in sent.deliveries:
        print(shown(delivery))
    return 1 if sent.left else 0


def shown(delivery: Delivery) -> str:
    """One delivery in a line, harmless and without secrets."""
    outcome, task = delivery.outcome, delivery.task
    why = f" ({plain(outcome.why)})" if outcome.why else ""
    again = "" if outcome.final or outcome.result is not Result.FAILED else "; it is tried again"
    name = plain(task.address.name, 80)
    return f"{name}: {outcome.result.value}, snapshot {task.message.snapshot}{why}{again}"


def deliver_spooled(places: Places, sender: Sender | None = None) -> Sent:
    """Deliver every message that is due at every address, and publish what could not be told."""
    _refuse_others(places)
    known = _addresses(places)
    receipts = Receipts(places.receipts)
    with _receipts_open(places, receipts):
        messages = _messages(places)
        sender = sender or Sender(receipts)
        tried: set[tuple[str, str]] = set()
        try:
            # What is spooled while this runs starts no further run: so it looks again before it ends.
            while tasks := [
                one for one in _due(messages, known, receipts) if (one.name, one.key) not in tried
            ]:
                tried.update((one.name, one.key) for one in tasks)
                sender.run(tasks)
                messages = _messages(places)
        finally:
            untold, left = _settle(messages, known, receipts)
        receipts.prune({receipt_name(path) for path, _ in messages})
    _report(places, sender.deliveries, untold)
    return Sent(tuple(sender.deliveries), left)


def _refuse_others(places: Places) -> None:
    """On the running machine receipts belong to the sender's own user, and nobody else writes there."""
    if not places.is_this_machine:
        return
    try:
        owner = places.receipts.stat().st_uid
    except FileNotFoundError:
        if places.state != Places.below().state:
            return
        raise MachineProblem(
            f"There is no {places.receipts} to keep receipts in, so nothing is sent.",
            "It is made when bootwatch is installed.",
        ) from None
    if owner != os.geteuid():
        raise UsageProblem(
            "Messages are sent by a service with a user of its own, and not by the user who runs this.",
            "Run: sudo systemctl start bootwatch-send.service",
        )


def _addresses(places: Places) -> list[Address]:
    """The addresses; a mistake in them is told to whoever logs in and to the journal, once."""
    try:
        return addresses.load(places, check=library.check)
    except UsageProblem as problem:
        mistakes = (
            [f"{problem.file}, {mistake}" for mistake in problem.mistakes]
            if isinstance(problem, SettingsProblem)
            else [problem.message]
        )
        if _publish(places, mistakes, []):
            journal.announce_mistake(mistakes, places)
        raise


@contextlib.contextmanager
def _receipts_open(places: Places, receipts: Receipts) -> Iterator[None]:
    """One sender at a time, and only where receipts can be kept."""
    try:
        receipts.open()
        handle = os.open(places.receipts / "lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX)
            yield
        finally:
            os.close(handle)
    except OSError as error:
        raise MachineProblem(
            f"Receipts can't be kept in {places.receipts}: {error.strerror}. Nothing is sent without.",
            "See to it that the folder is there, belongs to whoever sends, and that the disk has room.",
        ) from error


def _messages(places: Places) -> list[tuple[Path, Message]]:
    def damaged(path: Path, why: str) -> None:
        print(f"bootwatch: {plain(path.name)} in the spool can't be used: {plain(why)}", file=sys.stderr)

    try:
        return list(Spool(places.spool).messages(damaged))
    except OSError as error:
        raise MachineProblem(f"The spool {places.spool} can't be read: {error.strerror}.") from error


def _due(messages: list[tuple[Path, Message]], known: list[Address], receipts: Receipts) -> list[Task]:
    tasks = []
    now = utc_now()
    for path, message in messages:
        name = receipt_name(path)
        account = receipts.read(name)
        for address in known:
            key, settings = _digests(receipts, address)
            if schedule.is_due(account.receipts.get(key), account, settings, now):
                tasks.append(Task(name, message, address, key, settings))
    return tasks


def _digests(receipts: Receipts, address: Address) -> tuple[str, str]:
    identity = address.identity.encode("utf-8", "surrogatepass")
    return receipts.digest(identity), receipts.digest(address.settings_digest)


def _settle(
    messages: list[tuple[Path, Message]], known: list[Address], receipts: Receipts
) -> tuple[list[Untold], int]:
    """Note which messages are done with; what was not told, and how many deliveries are left."""
    untold: list[Untold] = []
    left = 0
    for path, _ in messages:
        name = receipt_name(path)
        account = receipts.read(name)
        open_now = 0
        for address in known:
            key, _ = _digests(receipts, address)
            receipt = account.receipts.get(key)
            if receipt is None:
                open_now += not account.settled or not account.reached_somebody
            elif receipt.outcome == Result.FAILED:
                untold.append(Untold(name, receipt))
                open_now += not receipt.final
        left += open_now
        _note(receipts, name, account, settled=open_now == 0)
    return untold, left


def _note(receipts: Receipts, name: str, account: Account, settled: bool) -> None:
    if account.settled is not settled or account.updated is None:
        receipts.write(name, Account(account.receipts, settled, account.updated))


def _report(places: Places, deliveries: list[Delivery], untold: list[Untold]) -> None:
    _publish(places, [], untold)
    for delivery in deliveries:
        outcome = delivery.outcome
        if outcome.result is Result.FAILED and outcome.final:
            journal.announce_untold(delivery.task.address.name, outcome.why, places)


def _publish(places: Places, mistakes: list[str], untold: list[Untold]) -> bool:
    try:
        return send_board.publish(places, mistakes, untold)
    except OSError as error:
        print(f"bootwatch: {places.run}/send was not renewed: {error.strerror}", file=sys.stderr)
        return True
