"""What this system's package manager did since the snapshot before, by its own log.

The log is followed by position, never by its times: a mark says how far it was read, and a digest of the
bytes before the mark tells whether it is still the same log. A log that was begun anew since (rotated) has
its former part beside it, as NAME.1; where that isn't it either, only what the new one holds is told.
"""

from __future__ import annotations

import hashlib
import io
import os
from dataclasses import dataclass, field

from bootwatch.model.gap import Gap, Reason
from bootwatch.model.package import LogMark, PackageChange
from bootwatch.observe.machine import Machine, detail_of, reason_for
from bootwatch.observe.package_lines import LOGS, changes_in

# Enough to tell logs apart: they begin with different times.
_TAIL = 1024
_MOST_BYTES = 4 << 20


@dataclass
class PackageLog:
    """The transactions, oldest first, each package once; how far the log was read; what could not be read."""

    mark: LogMark | None
    packages: tuple[PackageChange, ...] = ()
    gaps: list[Gap] = field(default_factory=list)


def read_package_log(machine: Machine, last: LogMark | None) -> PackageLog:
    """What was logged behind the mark ``last``. Without a mark, only a mark: what came before is not asked.

    A log that can't be read keeps its mark, so that the next reading catches up.
    """
    path = _path(machine, last)
    result = PackageLog(last)
    if not path:
        return result
    mark = last if last and last.log == path else None
    former = b""
    try:
        with machine.open(path) as log:
            start = _start(log, mark)
            if start is None:
                start, former = 0, _rest_of_former(machine, path, mark, result.gaps)
            data, end = _lines(log, start)
            result.mark = LogMark(path, end, _digest(log, end))
    except FileNotFoundError:  # rotated, and nothing was logged since
        former, data = _rest_of_former(machine, path, mark, result.gaps), b""
        result.mark = LogMark(path, 0, hashlib.sha256().hexdigest())
    except OSError as error:
        result.gaps.append(_gap(path, error))
        return result
    result.packages = changes_in(LOGS[path], former + data)
    return result


def _path(machine: Machine, last: LogMark | None) -> str:
    """The log that is followed already, as long as it or its former part is there; else the largest, since
    another system's package manager may have been used here as a tool. "" when there is none."""
    if last and last.log in LOGS and max(_size(machine, last.log), _size(machine, last.log + ".1")) >= 0:
        return last.log
    largest = max(LOGS, key=lambda path: _size(machine, path))
    return largest if _size(machine, largest) >= 0 else ""


def _size(machine: Machine, path: str) -> int:
    """In bytes; -1 when the file isn't there, 0 when that can't be told."""
    try:
        return machine.about(machine.locate(path)).st_size
    except OSError as error:
        return -1 if reason_for(error) is Reason.ABSENT else 0


def _start(log: io.BufferedReader, mark: LogMark | None) -> int | None:
    """Where reading goes on: at the mark, and behind the last line without one; None when the mark isn't in
    this log."""
    size = log.seek(0, os.SEEK_END)
    if mark is None:
        begin = max(0, size - _TAIL)
        log.seek(begin)
        return begin + log.read(_TAIL).rfind(b"\n") + 1
    return mark.size if 0 <= mark.size <= size and _digest(log, mark.size) == mark.digest else None


def _rest_of_former(machine: Machine, path: str, mark: LogMark | None, gaps: list[Gap]) -> bytes:
    """What the log held behind the mark when it was rotated; nothing where that can't be found."""
    if mark is None or mark.size == 0:  # a mark at the beginning fits every log, also one that was read
        return b""
    former = path + ".1"
    try:
        with machine.open(former) as log:
            start = _start(log, mark)
            return b"" if start is None else _lines(log, start)[0]
    except FileNotFoundError:
        return b""
    except OSError as error:
        gaps.append(_gap(former, error))
        return b""


def _lines(log: io.BufferedReader, start: int) -> tuple[bytes, int]:
    """The whole lines from ``start`` on, the newest 4 MiB of them, and where they end."""
    begin = max(start, log.seek(0, os.SEEK_END) - _MOST_BYTES)
    log.seek(begin)
    data = log.read(_MOST_BYTES)
    end = data.rfind(b"\n") + 1
    first = data.find(b"\n") + 1 if begin > start else 0
    return data[first:end], begin + end


def _digest(log: io.BufferedReader, end: int) -> str:
    begin = max(0, end - _TAIL)
    log.seek(begin)
    return hashlib.sha256(log.read(end - begin)).hexdigest()


def _gap(path: str, error: OSError) -> Gap:
    return Gap("machine", path, reason_for(error), detail_of(error))
