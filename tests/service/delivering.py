"""A machine that has something to tell, a real mail server, and a clock, for faults in between."""

from __future__ import annotations

import contextlib
import datetime
import json
import ssl
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unittest import mock

from bootwatch.keep.receipts import Receipt, Receipts, utc_now
from bootwatch.keep.spool import Spool, receipt_name
from bootwatch.model.message import Message
from bootwatch.places import Places
from bootwatch.service.send import Sent, deliver_spooled
from tests.tell.smtp import Handler, certificate, free_port, mail_server

PROJECT = Path(__file__).parents[2]
PASSWORD = "right-one"
STATE, LOG_IN, JOURNAL = "state.json", "log-in", "journal"
_MOST_RUNS = 100

# The n-th receipt that a run writes: the first says that an attempt begins, the second what became of it.
_KILLED = """
import os, signal, sys
from bootwatch.keep import receipts
from bootwatch.cli.main import main

root, side, number = sys.argv[1], sys.argv[2], int(sys.argv[3])
write, count = receipts.write_whole, 0

def cut(path, *rest):
    global count
    count += path.suffix == ".json"
    if side == "before" and count == number:
        os.kill(os.getpid(), signal.SIGKILL)
    write(path, *rest)
    if side == "after" and count == number:
        os.kill(os.getpid(), signal.SIGKILL)

receipts.write_whole = cut
sys.exit(main(["--root", root, "send"]))
"""


class World:
    """One machine and its mail server, which speaks STARTTLS and wants a password. Use as a context manager.

    ``said`` is where the trouble was ever shown, ``still`` where after the last run; ``why`` what was said of
    it first.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.places = Places.below(folder)
        (folder / "run").mkdir()
        self.places.addresses.parent.mkdir(parents=True)
        self.handler = Handler(login=(b"pc", PASSWORD.encode()))
        self.port = free_port()
        self.now = utc_now()
        self.limit = 60.0
        self.why = ""
        self.said: set[str] = set()
        self.still: set[str] = set()
        self.address_of: dict[str, str] = {}
        self._trusted = certificate(folder)
        self._stack = contextlib.ExitStack()
        self._server = contextlib.ExitStack()

    def __enter__(self) -> World:
        trust = {"SSL_CERT_FILE": str(self.folder / "ca.pem")}
        self._stack.enter_context(mock.patch.dict("os.environ", trust))
        return self

    def __exit__(self, *trouble: object) -> None:
        self.go_down()
        self._stack.close()

    # the server

    def go_up(self, tls: ssl.SSLContext | None = None, *, encrypted: bool = True) -> None:
        context = (tls or self._trusted) if encrypted else None
        self._server.enter_context(mail_server(self.handler, context, port=self.port))

    def go_down(self) -> None:
        self._server.close()

    def answer(self, **answers: str | None) -> None:
        """From now on, and to what isn't named as usual; ``DOT`` is the mail's end."""
        self.handler.answers.clear()
        self.handler.answers.update({"." if step == "DOT" else step: said for step, said in answers.items()})

    # the machine

    def tell(self, *names: str, password: str = PASSWORD, host: str = "127.0.0.1") -> None:
        """Whom to tell."""
        lines = ["addresses:"]
        for name in names:
            self.address_of[name] = f"{name.lower()}@example.org"
            to = f"mailtos://pc:{password}@{host}:{self.port}/?from=pc@example.org&to={self.address_of[name]}"
            lines.append(f"- {{name: {name}, to: '{to}'}}")
        self.places.addresses.write_text("\n".join(lines) + "\n")
        self.places.addresses.chmod(0o600)

    def spool(self, message: Message) -> None:
        Spool(self.places.spool).put(message)

    def run(self) -> Sent:
        """The sender, once."""
        with mock.patch("bootwatch.service.send.journal.announce_untold") as journal:
            sent = deliver_spooled(self.places, lambda: self.now, self.limit)
        motd = (self.places.root / "run/bootwatch/send/motd").read_text()
        untold = self.state()["untold"]
        self.still = {name for name, is_shown in ((LOG_IN, motd), (STATE, untold)) if is_shown}
        self.said |= self.still | ({JOURNAL} if journal.called else set())
        self.why = self.why or (untold[0]["why"].replace(f":{self.port}", "") if untold else "")
        return sent

    def run_until_done(self) -> None:
        """The sender again and again, each time when the next attempt is due."""
        for _ in range(_MOST_RUNS):
            waiting = [one.next_try for one in self.receipts() if one.next_try]
            if waiting:
                self.now = max(self.now, min(map(datetime.datetime.fromisoformat, waiting)))
            if not self.run().left:
                return
        raise AssertionError("it never ends")

    def run_and_cut_power(self, side: str, number: int) -> None:
        """The real command, killed before or after the n-th receipt that it writes."""
        command = [sys.executable, "-c", _KILLED, str(self.folder), side, str(number)]
        done = subprocess.run(command, cwd=PROJECT, stdin=subprocess.DEVNULL, check=False, timeout=60)
        assert done.returncode == -9, "it was over before the power was cut"

    def later(self, **wait: float) -> None:
        self.now += datetime.timedelta(**wait)

    # what became of it

    def state(self) -> dict[str, Any]:
        document: dict[str, Any] = json.loads(
            (self.places.root / "run/bootwatch/send/state.json").read_text()
        )
        return document

    def receipts(self) -> Iterator[Receipt]:
        kept = Receipts(self.places.receipts)
        for path, _ in Spool(self.places.spool).messages(lambda path, why: None):
            yield from kept.read(receipt_name(path)).receipts.values()

    def copies(self) -> dict[str, int]:
        """How many mails the server took for each address."""
        taken = Counter(self.handler.recipients)
        return {name: taken[mailbox] for name, mailbox in self.address_of.items()}

    def different_mails(self) -> int:
        """Copies of a mail have its Message-ID."""
        return len({str(mail["Message-ID"]) for mail in self.handler.mails})
