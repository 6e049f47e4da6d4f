"""The sender killed at every system call by which it changes anything, in front of a real mail server."""

from __future__ import annotations

import shutil
import sys
from collections import Counter
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from bootwatch.keep.receipts import Receipts
from bootwatch.keep.spool import Spool, receipt_name
from tests import strace
from tests.service.delivering import World
from tests.strace import Spot
from tests.tell.samples import message

_AHEAD = 200
# strace counts each thread's calls for itself: with these ahead, no other one comes to the main one's.
_PREFACE = f"""
import os, sys
from bootwatch.cli.main import main

nowhere = os.open(os.devnull, os.O_WRONLY)
for _ in range({_AHEAD}):
    os.write(nowhere, b"-")
    for call in (os.fsync, os.fdatasync):
        try:
            call(nowhere)
        except OSError:
            pass
    for call in (os.unlink, lambda path: os.rename(path, path)):
        try:
            call("/nowhere/at/all")
        except OSError:
            pass
    try:
        os.mkdir("/")
    except OSError:
        pass
sys.exit(main(sys.argv[1:]))
"""


@dataclass(frozen=True)
class Delivered:
    """One message at one address when the sender was killed: whether the server had it, whether its receipt
    lay on disk; and how often it came in all once the sender had been started again."""

    name: str
    taken: int
    receipted: bool
    copies: int

    @property
    def in_window(self) -> bool:
        """The server has confirmed it, and no receipt says so."""
        return bool(self.taken) and not self.receipted


class Thread(StrEnum):
    """Of the sender; those who are told come one after the other."""

    TECHNICIAN = "Anna"
    OWNER = "Ben"
    MAIN = "the main one"


class Sending:
    """Two messages for two addresses, a technician and an owner. ``spots``: wherever it can be killed."""

    def __init__(self, folder: Path) -> None:
        self.world = World(folder)
        self.world.__enter__()
        self.world.tell(Thread.TECHNICIAN, Thread.OWNER)
        file = self.world.places.addresses
        file.write_text(file.read_text().replace("{name: Ben,", "{name: Ben, reader: owner,"))
        self.world.spool(message(identity="a", snapshot=5))
        self.world.spool(message(identity="b", snapshot=6))
        Receipts(self.world.places.receipts).open()
        self.world.go_up()
        self._told_nobody, self._told_one = folder / "told-nobody", folder / "told-one"
        shutil.copytree(self.world.places.receipts, self._told_nobody)
        self.spots = self._listed()
        self._which = self._named()
        self._tell_one()

    def __enter__(self) -> Sending:
        return self

    def __exit__(self, *trouble: object) -> None:
        self.world.__exit__(*trouble)

    def _command(self, thread: Thread) -> list[str]:
        how = ["-c", _PREFACE] if thread is Thread.MAIN else ["-m", "bootwatch.cli"]
        return [sys.executable, "-B", *how, "--root", str(self.world.folder), "send"]

    def _listed(self) -> list[tuple[Thread, Spot]]:
        """As the sender comes by them when nobody stops it."""
        found = strace.spots(self._command(Thread.MAIN), self.world.folder / "calls")
        main, technician, owner = found.values()
        told = [(Thread.TECHNICIAN, spot) for spot in technician] + [(Thread.OWNER, spot) for spot in owner]
        return told + [(Thread.MAIN, spot) for spot in main if spot[1] > _AHEAD]

    def _named(self) -> dict[tuple[str, str], tuple[str, str]]:
        """The mails by address and Message-ID: whose each is, and which message. The older one came first."""
        names = {mailbox: name for name, mailbox in self.world.address_of.items()}
        mails = [(str(mail["To"]), str(mail["Message-ID"])) for mail in self.world.handler.mails]
        mails.sort(key=lambda both: both[0])
        return {both: (names[both[0]], own) for both, own in zip(mails, "abab", strict=True)}

    def _tell_one(self) -> None:
        """The technician knows, and the owner doesn't yet."""
        last = [spot for thread, spot in self.spots if thread is Thread.TECHNICIAN][-1]
        self._start_over(Thread.TECHNICIAN)
        assert strace.cut_off(self._command(Thread.TECHNICIAN), last)
        shutil.copytree(self.world.places.receipts, self._told_one)

    def _start_over(self, thread: Thread) -> None:
        world = self.world
        shutil.rmtree(world.places.receipts)
        copy = self._told_one if thread is Thread.OWNER else self._told_nobody
        shutil.copytree(copy, world.places.receipts)
        shutil.rmtree(world.places.root / "run/bootwatch", ignore_errors=True)
        world.handler.mails.clear()
        world.handler.recipients.clear()

    def kill_at(self, thread: Thread, spot: Spot) -> list[Delivered]:
        """Kill the sender there, start it again, and see what came at the addresses that knew nothing."""
        self._start_over(thread)
        known = self._receipted()
        assert strace.cut_off(self._command(thread), spot), spot
        taken, receipted = self._taken(), self._receipted()
        world = self.world
        world.run()
        world.run_until_done()
        world.later(days=1)
        world.run_until_done()
        copies = self._taken()
        assert not any(copies[both] for both in known), "what had its receipt came again"
        both = [(name, own) for name in world.address_of for own in "ab"]
        return [
            Delivered(f"{one[1]} to {one[0]}", taken[one], one in receipted, copies[one])
            for one in both
            if one not in known
        ]

    def _taken(self) -> Counter[tuple[str, str]]:
        """What the server has confirmed, by address and message."""
        mails = self.world.handler.mails
        return Counter(self._which[str(mail["To"]), str(mail["Message-ID"])] for mail in mails)

    def _receipted(self) -> set[tuple[str, str]]:
        kept = Receipts(self.world.places.receipts)
        return {
            (receipt.name, one.id)
            for path, one in Spool(self.world.places.spool).messages(lambda path, why: None)
            for receipt in kept.read(receipt_name(path)).receipts.values()
            if receipt.outcome == "delivered"
        }
