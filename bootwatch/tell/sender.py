"""Delivering what is spooled: each address on a thread of its own, so that none holds up the others.

A receipt is on disk before an attempt and after it, before anything else goes to that address. Technicians
come first, so that owners can be told who knows; they don't wait for those who can't be reached.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from bootwatch.addresses import READERS, Address
from bootwatch.keep.receipts import Clock, Receipt, Receipts, utc_now
from bootwatch.model.alert import Kind
from bootwatch.model.message import Message
from bootwatch.tell import schedule
from bootwatch.tell.delivery import Context, skipped
from bootwatch.tell.hearers import Hearers
from bootwatch.tell.line import Line
from bootwatch.tell.outcome import Outcome, Result

Deliver = Callable[[Address, Message, Line, Context], Outcome]

LIMIT = 60.0
NO_ANSWER = "no answer within {limit:.0f} seconds; whether it arrived is not known"
UNHEARD = "nothing of this alert was told here, so there is nothing to take back"


@dataclass(frozen=True)
class Task:
    """One message that is due at one address. ``name`` is what its receipts are called; ``obsolete`` says why
    it need not be told any more, "" where it must."""

    name: str
    message: Message
    address: Address
    key: str
    settings: str
    obsolete: str = ""


@dataclass(frozen=True)
class Delivery:
    """What became of a task."""

    task: Task
    outcome: Outcome


@dataclass
class _Job:
    """The tasks of one address, oldest first, done one after the other."""

    tasks: list[Task]
    line: Line = field(default_factory=Line)
    began: float = field(default_factory=time.monotonic)
    current: tuple[Task, Receipt] | None = None
    abandoned: bool = False

    @property
    def is_first(self) -> bool:
        return self.tasks[0].address.reader == READERS[0]


class Sender:
    """Works tasks off. ``key`` signs what machines read.

    ``limit``: seconds for one delivery. ``budget``: seconds from now in which jobs are begun; the rest waits.
    ``patience``: seconds that owners wait for the technicians.
    """

    def __init__(
        self,
        receipts: Receipts,
        deliver: Deliver,
        clock: Clock = utc_now,
        limit: float = LIMIT,
        at_once: int = 8,
        budget: float = 420.0,
        patience: float = 90.0,
        key: bytes | None = None,
    ) -> None:
        self.deliveries: list[Delivery] = []
        self.hearers = Hearers(receipts.accounts())
        self._receipts = receipts
        self._deliver = deliver
        self._clock = clock
        self._limit = limit
        self._at_once = at_once
        self._last_begin = time.monotonic() + budget
        self._patience = patience
        self._key = key
        self._lock = threading.Lock()
        self._finished: queue.Queue[_Job] = queue.Queue()
        self._trouble: OSError | None = None

    def run(self, tasks: list[Task]) -> None:
        """Work off ``tasks``, in their order for each address.

        Raises OSError when receipts can't be written: then nothing more is sent.
        """
        waiting = list(_jobs(tasks).values())
        running: list[_Job] = []
        begin = time.monotonic()
        while running or waiting:
            while self._may_start(running) and (job := self._next(waiting, running, begin)):
                waiting.remove(job)
                running.append(self._start(job))
            if not running:
                break
            self._wait(running, begin + self._patience)
        if self._trouble:
            raise self._trouble

    def _may_start(self, running: list[_Job]) -> bool:
        return len(running) < self._at_once and time.monotonic() < self._last_begin and not self._trouble

    def _next(self, waiting: list[_Job], running: list[_Job], begin: float) -> _Job | None:
        """The job to begin now: technicians' first, but once patience is over the owners'."""
        first = next((job for job in waiting if job.is_first), None)
        second = next((job for job in waiting if not job.is_first), None)
        if time.monotonic() >= begin + self._patience:
            return second or first
        is_held = first or any(job.is_first for job in running)
        return first if is_held else second

    def _start(self, job: _Job) -> _Job:
        job.began = time.monotonic()
        threading.Thread(target=self._work, args=(job,), daemon=True).start()
        return job

    def _wait(self, running: list[_Job], patience_ends: float) -> None:
        """Until a job is finished, the next one has taken too long, or patience is over."""
        soonest = min(job.began + self._limit for job in running)
        if time.monotonic() < patience_ends:
            soonest = min(soonest, patience_ends)
        try:
            job = self._finished.get(timeout=max(soonest - time.monotonic(), 0.01))
            if job in running:
                running.remove(job)
        except queue.Empty:
            for job in list(running):
                if self._abandon_if_overdue(job):
                    running.remove(job)

    def _work(self, job: _Job) -> None:
        try:
            for task in job.tasks:
                if not self._work_on(job, task):
                    break
        except OSError as error:
            self._trouble = error
        finally:
            self._finished.put(job)

    def _work_on(self, job: _Job, task: Task) -> bool:
        """Do one task; whether the next one may follow."""
        if not self._begin(job, task):
            return False
        return self._end(job, self._unwanted(task) or self._try(job, task))

    def _unwanted(self, task: Task) -> Outcome | None:
        """The outcome of what is not to be told at this address, else None."""
        message = task.message
        outcome = skipped(task.address, message)
        if outcome is None and task.obsolete:
            return Outcome.skipped(task.obsolete)
        if outcome is None and message.kind is Kind.ALL_CLEAR:
            with self._lock:
                has_heard = self.hearers.has_heard(message.alert, message.stage, task.key)
            return None if has_heard else Outcome.skipped(UNHEARD)
        return outcome

    def _try(self, job: _Job, task: Task) -> Outcome:
        message = task.message
        with self._lock:
            told = self.hearers.told(message.alert, message.stage)
        try:
            return self._deliver(task.address, message, job.line, Context(told, self._key))
        except Exception as error:  # One address must not take the others with it.
            return Outcome.failed(f"unexpected {type(error).__name__}", for_good=False)

    def _begin(self, job: _Job, task: Task) -> bool:
        with self._lock:
            if job.abandoned or self._trouble:
                return False
            former = self._receipts.read(task.name).receipts.get(task.key)
            behind = job.tasks[-1].name
            receipt = schedule.begun(former, task.address, task.settings, behind, self._clock())
            self._keep(task, receipt)
            job.current, job.began = (task, receipt), time.monotonic()
        return True

    def _end(self, job: _Job, outcome: Outcome) -> bool:
        with self._lock:
            # An answer that comes too late counts only when it is a good one.
            if job.abandoned and outcome.result is not Result.DELIVERED:
                return False
            self._record(job, outcome)
            job.current = None
            return outcome.final and not job.abandoned

    def _record(self, job: _Job, outcome: Outcome) -> None:
        if job.current is None:
            return
        task, begun = job.current
        receipt = schedule.ended(begun, outcome, self._clock())
        self._keep(task, receipt)
        outcome = Outcome(outcome.result, receipt.why, receipt.final)
        self.deliveries = [one for one in self.deliveries if one.task is not task] + [Delivery(task, outcome)]

    def _keep(self, task: Task, receipt: Receipt) -> None:
        message = task.message
        account = self._receipts.read(task.name).with_receipt(task.key, receipt)
        account = replace(account, alert=message.alert, stage=message.stage, kind=message.kind.value)
        self._receipts.write(task.name, account)
        self.hearers.note(task.name, account)

    def _abandon_if_overdue(self, job: _Job) -> bool:
        """Give up on a delivery that takes too long; its thread ends when its line is cut, or with us."""
        with self._lock:
            if job.current is None or time.monotonic() - job.began < self._limit:
                return False
            try:
                self._record(job, Outcome.failed(NO_ANSWER.format(limit=self._limit), for_good=False))
            except OSError as error:
                self._trouble = error
            job.abandoned = True
        job.line.cut()
        return True


def _jobs(tasks: list[Task]) -> dict[str, _Job]:
    jobs: dict[str, _Job] = {}
    for task in tasks:
        jobs.setdefault(task.key, _Job([])).tasks.append(task)
    return jobs
