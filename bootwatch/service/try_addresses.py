"""A test message to each address: whether it gets through. No receipt is kept, and nothing is tried again."""

from __future__ import annotations

import secrets
import threading
import time
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from bootwatch import addresses
from bootwatch.addresses import Address
from bootwatch.config import Config
from bootwatch.model.level import Level
from bootwatch.observe.machine import Machine
from bootwatch.places import Places
from bootwatch.problem import UsageProblem
from bootwatch.tell import library, mail, trial
from bootwatch.tell.letter import Letter
from bootwatch.tell.line import Line
from bootwatch.tell.outcome import Outcome
from bootwatch.tell.sender import LIMIT, NO_ANSWER

_AT_ONCE = 8

Try = Callable[[Address, Line], Outcome]


@dataclass(frozen=True)
class Tried:
    """What became of the test at one address."""

    address: Address
    outcome: Outcome


def try_addresses(places: Places, names: Collection[str], given: bytes | None = None) -> list[Tried]:
    """Send a test to the addresses of those ``names``, to all where none is named.

    ``given`` is what stands in the addresses' file, for whoever may not open it. Raises UsageProblem for
    mistakes in the settings or addresses, for a name that isn't there, and where there is nobody to tell.
    """
    config = Config.load(places.config)
    known = addresses.load(places, check=library.check, given=given)
    _require(known, names, places)
    machine = config.machine or Machine(places.root).text_or_none("etc/hostname") or "this machine"
    own = secrets.token_hex(8)

    def attempt(address: Address, line: Line) -> Outcome:
        said = trial.trial(address, machine, config.care)
        if address.route is None:
            return library.deliver(address.to, said.subject, said.body, Level.ROUTINE)
        return mail.deliver(Letter(own, said.subject, said.body), address.route, line)

    asked = [one for one in known if not names or one.name in names]
    outcomes = dict(zip((one.identity for one in asked), _all(asked, attempt), strict=True))
    return [Tried(one, outcomes.get(one.identity) or Outcome.skipped("not asked for")) for one in known]


def _require(known: list[Address], names: Collection[str], places: Places) -> None:
    if not known:
        raise UsageProblem(
            f"Nobody is told anything: there is no address in {places.addresses}.",
            "Write down who is to be told; how stands in the file's own remarks.",
        )
    there = [one.name for one in known]
    for name in names:
        if name not in there:
            raise UsageProblem(f"There is no address called {name}.", f"There are: {', '.join(there)}.")


def _all(asked: Sequence[Address], attempt: Try, limit: float = LIMIT) -> list[Outcome]:
    """The outcomes, some at once; none holds up others for longer than ``limit`` seconds."""
    found: list[Outcome] = []
    for start in range(0, len(asked), _AT_ONCE):
        running = [_Attempt(one, attempt) for one in asked[start : start + _AT_ONCE]]
        end = time.monotonic() + limit
        found += [one.outcome(end, limit) for one in running]
    return found


class _Attempt(threading.Thread):
    """A test at one address, on a thread of its own."""

    def __init__(self, address: Address, attempt: Try) -> None:
        super().__init__(daemon=True)
        self._address, self._attempt, self._line = address, attempt, Line()
        self._outcome: Outcome | None = None
        self.start()

    def run(self) -> None:
        try:
            self._outcome = self._attempt(self._address, self._line)
        except Exception as error:  # One address must not take the others with it.
            self._outcome = Outcome.failed(f"unexpected {type(error).__name__}", for_good=False)

    def outcome(self, end: float, limit: float) -> Outcome:
        self.join(max(end - time.monotonic(), 0))
        outcome = self._outcome
        if outcome is None:
            self._line.cut()
            return Outcome.failed(NO_ANSWER.format(limit=limit), for_good=False)
        return outcome
