"""What the send unit runs: deliver what is spooled, keep receipts, say what could not be told."""

from __future__ import annotations

import contextlib
import fcntl
import os
import re
import sys
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from bootwatch import addresses
from bootwatch.addresses import Address
from bootwatch.checked_yaml import SettingsProblem
from bootwatch.keep.receipts import Account, Clock, Receipts, utc_now
from bootwatch.keep.spool import Spool, receipt_name
from bootwatch.model.alert import Kind
from bootwatch.model.message import Message
from bootwatch.model.told import Told
from bootwatch.places import Places
from bootwatch.problem import MachineProblem, UsageProblem
from bootwatch.tell import journal, library, schedule, send_board
from bootwatch.tell.delivery import deliver
from bootwatch.tell.hearers import Hearers
from bootwatch.tell.obsolete import obsolete
from bootwatch.tell.outcome import Result
from bootwatch.tell.plain import plain
from bootwatch.tell.send_board import Untold
from bootwatch.tell.sender import LIMIT, Delivery, Sender, Task

Messages = list[tuple[str, Message]]
"""What lies in the spool, oldest first, each with what its receipts are called."""

_KEY_LIMIT = 64 * 1024


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


def deliver_spooled(places: Places, clock: Clock = utc_now, limit: float = LIMIT) -> Sent:
    """Deliver every message that is due at every address, and publish what could not be told.

    ``limit``: seconds for one delivery.
    """
    _refuse_others(places)
    known = _addresses(places)
    receipts = Receipts(places.receipts, clock)
    with _receipts_open(places, receipts):
        messages = _messages(places)
        sender = Sender(receipts, deliver, clock, limit, key=_key(places))
        stuck: set[str] = set()
        try:
            # What is spooled while this runs starts no further run: so it looks again before it ends.
            while tasks := _due(messages, known, receipts, clock, stuck):
                sender.run(tasks)
                done = {(one.task.name, one.task.key) for one in sender.deliveries if one.outcome.final}
                # Whoever could not be told now is left alone until the next run.
                stuck |= {one.key for one in tasks if (one.name, one.key) not in done}
                messages = _messages(places)
        finally:
            untold, left = _settle(messages, known, receipts)
        receipts.prune({name for name, _ in messages})
    _report(places, sender.deliveries, untold, _told(messages, sender.hearers))
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
        hearers = Hearers(Receipts(places.receipts).accounts())
        if _publish(places, mistakes, [], _told(_messages(places), hearers)):
            journal.announce_mistake(mistakes, places)
        raise


def _key(places: Places) -> bytes | None:
    """The machine's private key; None where there is none, or it isn't for us to read."""
    folder = os.environ.get("CREDENTIALS_DIRECTORY") if places.is_this_machine else None
    file = Path(folder) / places.machine_key.name if folder else places.machine_key
    try:
        with file.open("rb") as opened:
            data = opened.read(_KEY_LIMIT)
    except OSError:
        return None
    # The unit hands over a word where there is no key.
    return data if data.startswith(b"-----BEGIN") else None


@contextlib.contextmanager
def _receipts_open(places: Places, receipts: Receipts) -> Iterator[None]:
    """One sender at a time, and only where receipts can be kept."""
    try:
        places.receipts.mkdir(mode=0o750, parents=True, exist_ok=True)
        handle = os.open(places.receipts / "lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX)
            receipts.open()  # two at once must not make a key each
            yield
        finally:
            os.close(handle)
    except OSError as error:
        raise MachineProblem(
            f"Receipts can't be kept in {places.receipts}: {error.strerror}. Nothing is sent without.",
            "See to it that the folder is there, belongs to whoever sends, and that the disk has room.",
        ) from error


def _messages(places: Places) -> Messages:
    def damaged(path: Path, why: str) -> None:
        print(f"bootwatch: {plain(path.name)} in the spool can't be used: {plain(why)}", file=sys.stderr)

    try:
        found = [(receipt_name(path), message) for path, message in Spool(places.spool).messages(damaged)]
    except OSError as error:
        raise MachineProblem(f"The spool {places.spool} can't be read: {error.strerror}.") from error
    return sorted(found, key=_place)


def _place(item: tuple[str, Message]) -> tuple[str, int, int, str]:
    """Where a message stands in line: by snapshot, then by alert and stage, a sign of life last."""
    name, message = item
    number = re.fullmatch("a([0-9]{1,9})", message.called)
    return name.partition("-")[0], int(number[1]) if number else 10**9, message.stage, name


def _due(
    messages: Messages, known: list[Address], receipts: Receipts, clock: Clock, stuck: Collection[str]
) -> list[Task]:
    accounts = {name: receipts.read(name) for name, _ in messages}
    tasks = []
    for address in known:
        key, settings = _digests(receipts, address)
        if key in stuck:
            continue
        waiting = _waiting(messages, accounts, address, key, settings)
        # What is obsolete needs nobody's answer.
        live = [(one.name, accounts[one.name].receipts.get(key)) for one in waiting if not one.obsolete]
        is_turn = bool(live) and schedule.is_turn(live, settings, clock())
        tasks += [one for one in waiting if is_turn or one.obsolete]
    return tasks


def _waiting(
    messages: Messages, accounts: dict[str, Account], address: Address, key: str, settings: str
) -> list[Task]:
    """What ``address`` is still to be told, oldest first."""
    found = []
    for number, (name, message) in enumerate(messages):
        account = accounts[name]
        if schedule.is_waiting(account.receipts.get(key), account, settings):
            later = (one for _, one in messages[number + 1 :])
            found.append(Task(name, message, address, key, settings, obsolete(address, message, later)))
    return found


def _digests(receipts: Receipts, address: Address) -> tuple[str, str]:
    identity = address.identity.encode("utf-8", "surrogatepass")
    return receipts.digest(identity), receipts.digest(address.settings_digest)


def _settle(messages: Messages, known: list[Address], receipts: Receipts) -> tuple[list[Untold], int]:
    """Note which messages are done with; what was not told, and how many deliveries are left."""
    accounts = {name: receipts.read(name) for name, _ in messages}
    open_now = dict.fromkeys(accounts, 0)
    untold: list[Untold] = []
    for address in known:
        key, settings = _digests(receipts, address)
        for name, account in accounts.items():
            open_now[name] += schedule.is_waiting(account.receipts.get(key), account, settings)
        untold += _untold(messages, accounts, key)
    for name, account in accounts.items():
        settled = open_now[name] == 0
        if account.settled is not settled or account.updated is None:
            receipts.write(name, replace(account, settled=settled))
    return untold, sum(open_now.values())


def _untold(messages: Messages, accounts: dict[str, Account], key: str) -> list[Untold]:
    """What an address was not told. Each message says all that is open: one that got through makes good for
    those before it that were refused."""
    found: list[Untold] = []
    for name, message in messages:
        receipt = accounts[name].receipts.get(key)
        if receipt and receipt.outcome == Result.FAILED:
            found.append(Untold(name, receipt))
        elif receipt and receipt.outcome == Result.DELIVERED and message.kind is not Kind.SIGN_OF_LIFE:
            found = [one for one in found if not one.receipt.final]
    return found


def _told(messages: Messages, hearers: Hearers) -> list[tuple[str, Told]]:
    """Who knows of the alerts that messages in the spool are about, the newest alert first."""
    stages: dict[str, int] = {}
    for _, message in messages:
        if message.alert:
            stages[message.alert] = max(message.stage, stages.get(message.alert, 0))
    newest_first = reversed(stages.items())
    return [(alert, told) for alert, stage in newest_first for told in hearers.told(alert, stage)]


def _report(
    places: Places, deliveries: list[Delivery], untold: list[Untold], told: list[tuple[str, Told]]
) -> None:
    _publish(places, [], untold, told)
    for delivery in deliveries:
        outcome = delivery.outcome
        if outcome.result is Result.FAILED and outcome.final:
            journal.announce_untold(delivery.task.address.name, outcome.why, places)


def _publish(places: Places, mistakes: list[str], untold: list[Untold], told: list[tuple[str, Told]]) -> bool:
    try:
        return send_board.publish(places, mistakes, untold, told)
    except OSError as error:
        print(f"bootwatch: {places.run}/send was not renewed: {error.strerror}", file=sys.stderr)
        return True
