"""Delivering what is spooled: each address on a thread of its own, so that none holds up the others.

A receipt is on disk before an attempt and after it, before anything else goes to that address.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from bootwatch.addresses import Address
from bootwatch.keep.receipts import Clock, Receipt, Receipts, utc_now
from bootwatch.model.message import Message
from bootwatch.tell import schedule
from bootwatch.tell.delivery import deliver, skipped
from bootwatch.tell.line import Line
from bootwatch.tell.outcome import Outcome, Result

Deliver = Callable[[Address, Message, Line], Outcome]

NO_ANSWER = "no answer within {limit:.0f} seconds; whether it arrived is not known"


@dataclass(frozen=True)
class Task:
    """One message that is due at one address. ``name`` is what its receipts are called."""

    name: str
    message: Message
    address: Address
    key: str
    settings: str


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


class Sender:
    """Works tasks off.

    ``limit``: seconds for one delivery. ``budget``: seconds in which jobs are begun; the rest waits.
    """

    def __init__(
        self,
        receipts: Receipts,
        deliver: Deliver = deliver,
        clock: Clock = utc_now,
        limit: float = 60.0,
        at_once: int = 8,
        budget: float = 420.0,
    ) -> None:
        self.deliveries: list[Delivery] = []
        self._receipts = receipts
        self._deliver = deliver
        self._clock = clock
        self._limit = limit
        self._at_once = at_once
        self._budget = budget
        self._lock = threading.Lock()
        self._finished: queue.Queue[_Job] = queue.Queue()
        self._trouble: OSError | None = None

    def run(self, tasks: list[Task]) -> None:
        """Work off ``tasks``, in their order for each address.

        Raises OSError when receipts can't be written: then nothing more is sent.
        """
        waiting = list(_jobs(tasks).values())
        running: list[_Job] = []
        end = time.monotonic() + self._budget
        while running or waiting:
            while waiting and len(running) < self._at_once and time.monotonic() < end and not self._trouble:
                running.append(self._start(waiting.pop(0)))
            if not running:
                break
            self._wait(running)
        if self._trouble:
            raise self._trouble

    def _start(self, job: _Job) -> _Job:
        job.began = time.monotonic()
        threading.Thread(target=self._work, args=(job,), daemon=True).start()
        return job

    def _wait(self, running: list[_Job]) -> None:
        """Until a job is finished or the next one has taken too long."""
        soonest = min(job.began + self._limit for job in running)
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
        outcome = skipped(task.address, task.message)
        if not self._begin(job, task):
            return False
        if outcome is None:
            try:
                outcome = self._deliver(task.address, task.message, job.line)
            except Exception as error:  # One address must not take the others with it.
                outcome = Outcome.failed(f"unexpected {type(error).__name__}", for_good=False)
        return self._end(job, outcome)

    def _begin(self, job: _Job, task: Task) -> bool:
        with self._lock:
            if job.abandoned or self._trouble:
                return False
            account = self._receipts.read(task.name)
            now = self._clock()
            receipt = schedule.begun(account.receipts.get(task.key), task.address.name, task.settings, now)
            self._receipts.write(task.name, account.with_receipt(task.key, receipt))
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
        account = self._receipts.read(task.name)
        self._receipts.write(task.name, account.with_receipt(task.key, receipt))
        outcome = Outcome(outcome.result, receipt.why, receipt.final)
        self.deliveries = [one for one in self.deliveries if one.task is not task] + [Delivery(task, outcome)]

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
