"""What became of each message at each address. Only the sender writes here; the reader looks and sweeps.

One file a message, called as in the spool. An address appears as a keyed digest, never as its URL; the key
lies in the same folder, readable by the sender alone, so that nobody can guess at passwords.
"""

from __future__ import annotations

import contextlib
import datetime
import hashlib
import json
import os
import secrets
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from bootwatch.keep.files import read_plain, sync_folder, write_whole
from bootwatch.keep.spool import Spool
from bootwatch.model.instant import written

FORMAT = "bootwatch/receipts/1"
OLD = datetime.timedelta(days=30)
"""How long a settled message stays in the spool, and how long an unwilling address is tried."""

_KEPT = datetime.timedelta(days=400)
_LIMIT = 4 * 1024 * 1024

Clock = Callable[[], datetime.datetime]


def utc_now() -> datetime.datetime:
    """The time, to the second, in UTC."""
    return datetime.datetime.now(datetime.UTC).replace(microsecond=0)


@dataclass(frozen=True)
class Receipt:
    """How one message stands with one address. Times are UTC in RFC 3339.

    ``settings`` is a digest of the whole address: a mended password is a reason to try again. ``reader`` says
    in whose words it was told. ``behind`` names the last message that waited in line at that attempt.
    """

    name: str
    outcome: str
    why: str
    attempts: int
    first_try: str
    last_try: str
    next_try: str | None
    final: bool
    settings: str
    reader: str = ""
    behind: str = ""

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> Receipt:
        """Raises ValueError or TypeError when it is not a receipt."""
        # What receipts of earlier versions don't hold.
        whole = {"reader": "", "behind": ""} | document
        receipt = cls(**{name: whole[name] for name in cls.__dataclass_fields__})
        times = [receipt.first_try, receipt.last_try, *filter(None, [receipt.next_try])]
        for time in times:
            if datetime.datetime.fromisoformat(time).tzinfo is None:
                raise ValueError("a time without its zone")
        words = (receipt.name, receipt.why, receipt.reader, receipt.behind)
        if not isinstance(receipt.attempts, int) or not all(isinstance(word, str) for word in words):
            raise TypeError("a value of the wrong kind")
        return receipt


@dataclass(frozen=True)
class Account:
    """All receipts of one message. ``settled``: final for every address that there was.

    ``alert`` (an alert's uid, "" for none), ``stage`` and ``kind`` are the message's: it is taken out of the
    spool long before who was told of the alert stops to matter.
    """

    receipts: dict[str, Receipt] = field(default_factory=dict)
    settled: bool = False
    updated: str | None = None
    alert: str = ""
    stage: int = 0
    kind: str = ""

    @property
    def reached_somebody(self) -> bool:
        return any(receipt.outcome == "delivered" for receipt in self.receipts.values())

    def with_receipt(self, key: str, receipt: Receipt) -> Account:
        return replace(self, receipts=self.receipts | {key: receipt})


class Receipts:
    """The sender's folder."""

    def __init__(self, folder: Path, clock: Clock = utc_now) -> None:
        self.folder = folder
        self._clock = clock
        self._salt = b""

    def open(self) -> None:
        """Make sure that receipts can be kept: no message is sent without. Raises OSError."""
        self.folder.mkdir(mode=0o750, parents=True, exist_ok=True)
        file = self.folder / "key"
        if not file.exists():
            write_whole(file, secrets.token_bytes(32), 0o600)
        self._salt = file.read_bytes()

    def digest(self, secret: bytes) -> str:
        """A keyed digest, 32 hex digits."""
        return hashlib.blake2b(secret, key=self._salt[:64], digest_size=16).hexdigest()

    def read(self, name: str) -> Account:
        """The receipts of the message called ``name``; none where they are absent or damaged."""
        return _read(self.folder / name)

    def accounts(self) -> dict[str, Account]:
        """All that there are, by their messages' names."""
        return {file.name: _read(file) for file in self.folder.glob("*.json")}

    def write(self, name: str, account: Account) -> None:
        """Keep them: once this returns they survive a power cut. Raises OSError."""
        document = {
            "format": FORMAT,
            "message": name,
            "settled": account.settled,
            "updated": written(self._clock()),
            "alert": account.alert,
            "stage": account.stage,
            "kind": account.kind,
            "addresses": {key: asdict(receipt) for key, receipt in account.receipts.items()},
        }
        write_whole(self.folder / name, json.dumps(document, sort_keys=True, indent=1).encode("ascii"))

    def prune(self, spooled: set[str]) -> None:
        """Take away receipts of more than a year ago whose message is no longer spooled."""
        for file in self.folder.glob("*.json"):
            account = _read(file)
            if (
                file.name not in spooled
                and account.updated
                and _is_older(account.updated, _KEPT, self._clock())
            ):
                file.unlink(missing_ok=True)


def sweep(spool: Spool, receipts: Path, clock: Clock = utc_now) -> None:
    """The reader's part: take messages out of the spool that are settled for a month, and damaged files.

    What can't be looked at or removed stays.
    """
    now = clock()
    with contextlib.suppress(OSError):
        names = [path.name for path in spool.folder.glob("*.json")]
        damaged: list[Path] = []
        for _ in spool.messages(lambda path, why: damaged.append(path)):
            pass
        for name in names:
            account = _read(receipts / name)
            if account.settled and account.updated and _is_older(account.updated, OLD, now):
                spool.remove(spool.folder / name)
        for path in damaged:
            if now.timestamp() - path.stat().st_mtime > OLD.total_seconds():
                spool.remove(path)
        _remove_leftovers(spool.unfinished, now)


def _remove_leftovers(folder: Path, now: datetime.datetime) -> None:
    """Temporary files that a power cut left."""
    for path in folder.glob(".*.json.*"):
        if now.timestamp() - path.stat().st_mtime > OLD.total_seconds():
            os.unlink(path)
    sync_folder(folder)


def _read(file: Path) -> Account:
    try:
        document = json.loads(read_plain(file, _LIMIT))
        if document["format"] != FORMAT:
            return Account()
        receipts = {key: Receipt.from_json(one) for key, one in document["addresses"].items()}
        if datetime.datetime.fromisoformat(document["updated"]).tzinfo is None:
            return Account()
        stage = document.get("stage")
        return Account(
            receipts,
            document["settled"] is True,
            document["updated"],
            alert=str(document.get("alert", "")),
            stage=stage if isinstance(stage, int) else 0,
            kind=str(document.get("kind", "")),
        )
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        # At least once: rather told twice than never.
        return Account()


def _is_older(time: str, age: datetime.timedelta, now: datetime.datetime) -> bool:
    return now - datetime.datetime.fromisoformat(time) > age
