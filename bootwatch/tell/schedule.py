"""When a message that failed is tried again, and when it is given up. Pure: the time is an argument."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import replace

from bootwatch.addresses import Address
from bootwatch.keep.receipts import OLD, Account, Receipt
from bootwatch.model.instant import written
from bootwatch.tell.outcome import Outcome, Result

FIRST_WAIT = datetime.timedelta(minutes=5)
LONGEST_WAIT = datetime.timedelta(hours=6)
FEWEST_ATTEMPTS = 20
"""A machine that was off for a month is not given up on without having been tried."""

CUT_OFF = "cut off while it was being sent"


def is_waiting(receipt: Receipt | None, account: Account, settings: str) -> bool:
    """Whether a message is still to be told at the address that ``receipt`` and ``settings`` belong to.

    An address that is new gets messages that are still under way, or that reached nobody.
    """
    if receipt is None:
        return not account.settled or not account.reached_somebody
    if receipt.final:
        return receipt.outcome == Result.FAILED and receipt.settings != settings
    return True


def is_turn(waiting: Sequence[tuple[str, Receipt | None]], settings: str, now: datetime.datetime) -> bool:
    """Whether an address is to be tried now. ``waiting`` holds the names of the messages that it is still to
    be told, oldest first, each with its receipt there.

    They are told in their order, so the wait of the oldest is that of all. A message that wasn't there at the
    last attempt is a reason to try once at once.
    """
    _, first = waiting[0]
    newest, _ = waiting[-1]
    if first is None or first.next_try is None or first.settings != settings or first.behind != newest:
        return True
    wait = datetime.datetime.fromisoformat(first.next_try) - now
    # A longer wait than any that is ever set: the clock was put back since.
    return wait <= datetime.timedelta() or wait > LONGEST_WAIT


def begun(
    receipt: Receipt | None, address: Address, settings: str, behind: str, now: datetime.datetime
) -> Receipt:
    """The receipt to keep before an attempt: what holds if the power fails in mid-send."""
    anew = receipt is None or receipt.final or receipt.settings != settings
    attempts = 1 if receipt is None or anew else receipt.attempts + 1
    return Receipt(
        name=address.name,
        outcome=Result.FAILED.value,
        why=CUT_OFF,
        attempts=attempts,
        first_try=written(now) if receipt is None or anew else receipt.first_try,
        last_try=written(now),
        next_try=written(now + wait_after(attempts)),
        final=False,
        settings=settings,
        reader=address.reader,
        behind=behind,
    )


def ended(receipt: Receipt, outcome: Outcome, now: datetime.datetime) -> Receipt:
    """The receipt of an attempt whose outcome is known."""
    why, final = outcome.why, outcome.final
    tried = now - datetime.datetime.fromisoformat(receipt.first_try)
    if not final and receipt.attempts >= FEWEST_ATTEMPTS and tried > OLD:
        why, final = f"{why} (given up after {receipt.attempts} attempts)", True
    return replace(
        receipt,
        outcome=outcome.result.value,
        why=why,
        last_try=written(now),
        next_try=None if final else written(now + wait_after(receipt.attempts)),
        final=final,
    )


def wait_after(attempts: int) -> datetime.timedelta:
    """5 minutes after the first failure, then twice as long each time, at most 6 hours."""
    doublings = min(max(attempts - 1, 0), 16)
    return min(FIRST_WAIT * (1 << doublings), LONGEST_WAIT)
