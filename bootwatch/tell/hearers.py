"""Who heard of which alert, by the receipts."""

from __future__ import annotations

from collections.abc import Mapping

from bootwatch.addresses import READERS
from bootwatch.keep.receipts import Account, Receipt
from bootwatch.model.alert import Kind
from bootwatch.model.told import Told
from bootwatch.tell.outcome import Result


class Hearers:
    """Begins with the receipts that there are; whoever adds one says so by `note`."""

    def __init__(self, accounts: Mapping[str, Account]) -> None:
        self._accounts = {name: account for name, account in accounts.items() if account.alert}

    def note(self, name: str, account: Account) -> None:
        """``account`` is what holds now of the message called ``name``."""
        if account.alert:
            self._accounts[name] = account

    def told(self, alert: str, stage: int) -> tuple[Told, ...]:
        """Who knows how things stood at that stage of an alert, and since when; by time.

        An address does when it got the newest message with news that it wanted: who was told of an earlier
        stage only may not know that it grew worse.
        """
        accounts = [one for one in self._of(alert) if one.stage <= stage]
        accounts.sort(key=lambda account: account.stage, reverse=True)
        keys = dict.fromkeys(key for account in accounts for key in account.receipts)
        found = [told for key in keys if (told := _told(accounts, key))]
        return tuple(sorted(found, key=lambda one: (one.time, one.address)))

    def has_heard(self, alert: str, stage: int, key: str) -> bool:
        """Whether the address of that ``key`` got a message of an alert before that stage.

        Where no receipts of earlier stages are left, it is taken to: rather told twice than never.
        """
        earlier = [one for one in self._of(alert) if one.stage < stage]
        return not earlier or any(_is_delivered(one.receipts.get(key)) for one in earlier)

    def _of(self, alert: str) -> list[Account]:
        return [one for one in self._accounts.values() if one.alert == alert]


def _told(newest_first: list[Account], key: str) -> Told | None:
    for account in newest_first:
        receipt = account.receipts.get(key)
        if receipt and _is_delivered(receipt):
            return Told(receipt.name, receipt.reader or READERS[0], receipt.last_try)
        is_unwanted = receipt is not None and receipt.outcome == Result.SKIPPED
        if account.kind == Kind.NEWS and not is_unwanted:
            return None
    return None


def _is_delivered(receipt: Receipt | None) -> bool:
    return receipt is not None and receipt.outcome == Result.DELIVERED
