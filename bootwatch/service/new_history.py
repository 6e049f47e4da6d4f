"""Where a history was lost and a new one began: it goes on by what lies in other files.

Snapshots keep being numbered upwards, since messages and receipts are ordered by that. What people were told
of lies in the spool's messages: none of it is told again, and its alert goes on until its all-clear.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import sys

from bootwatch.keep import alerts
from bootwatch.keep.baseline import Baseline
from bootwatch.keep.history import History
from bootwatch.keep.spool import Spool
from bootwatch.model.alert import Kind
from bootwatch.model.message import Message
from bootwatch.places import Places

_NUMBER = re.compile("([0-9]{9,12})-.*[.]json")


def go_on(history: History, places: Places, baseline: Baseline | None) -> None:
    """Number a new history's first snapshot after those of the lost one, as far as they are known."""
    if not history.is_new:
        return
    last = max([_of_baseline(baseline), _published(places), *_of_messages(places)])
    if last:
        with history.transaction():
            history.number_on(last)
        print(
            f"bootwatch: this history is new, and an earlier one was lost; snapshots go on from {last + 1}",
            file=sys.stderr,
        )


def _of_baseline(baseline: Baseline | None) -> int:
    return (baseline.snapshot or 0) if baseline else 0


def _published(places: Places) -> int:
    """What the last reading of this start left for everybody."""
    with contextlib.suppress(OSError, ValueError, KeyError, TypeError):
        if places.run:
            return int(json.loads((places.run / "routes.json").read_bytes())["snapshot"])
    return 0


def _of_messages(places: Places) -> list[int]:
    """By the names of messages and of receipts, which are kept longer."""
    names: list[str] = []
    for folder in (places.spool, places.receipts):
        with contextlib.suppress(OSError):
            names += os.listdir(folder)
    return [int(found[1]) for name in names if (found := _NUMBER.fullmatch(name))]


def remember_told(history: History, places: Places, number: int) -> None:
    """In a history that begins with snapshot ``number``: what was told, by the messages that are still in the
    spool. Call it inside a transaction, once what is open was recorded."""
    if history.first_number() != number or alerts.listed(history, 1):
        return
    with contextlib.suppress(OSError):
        found = [one for _, one in Spool(places.spool).messages(lambda path, why: None)]
        signs = [one for one in found if one.kind is Kind.SIGN_OF_LIFE]
        for sign in signs[-1:]:
            alerts.note_sign(history, sign.snapshot, sign.time, sign.id)
        told = sorted((one for one in found if one.alert), key=_place)
        if told:
            last = told[-1]
            alerts.restore(history, _number(last), [one for one in told if one.alert == last.alert])


def _place(message: Message) -> tuple[int, int, int]:
    return message.snapshot, _number(message), message.stage


def _number(message: Message) -> int:
    """Of its alert."""
    digits = message.called.removeprefix("a")
    return int(digits) if digits.isascii() and digits.isdigit() and len(digits) < 10 else 1
