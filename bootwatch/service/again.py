"""The reading of a machine that is as it was at the last one, without taking it apart once more.

A full reading leaves behind what it asked the machine and what it was answered (`observe.answers`), in a file
of the reader's own that may be lost at any time. The next one of the same start asks the same. Only where all
answers are the same, and everything else that a reading goes by, it records that all was found again as it
was; else the machine is read in full, as if nothing had been left. What it goes by besides, each of which
must be the same:

* the settings, the baseline and its log, what restores left, the note on the last kit; the program itself,
  and the clock's distance from UTC, which stands in files' times;
* the history, to the last change of its database, and what was published below /run;
* that there is nothing to tell: no alert is open, and nothing differs from the baseline that anybody could
  have to hear of;
* the day (UTC), which stands in the code for the phone, and by which signs of life are due.

So everything is read and hashed anew at each start, at least once a day, and at every eighth reading. Where
the clock stands still or goes back, the time that the machine has run says so. Where there is reason to think
that something changed, too: the watch saw it, or another system may have run while this one slept. On a
mounted FAT volume the kernel keeps no time of change that can't be put back (ctime is mtime there).
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import bootwatch
from bootwatch.keep.canonical import digest
from bootwatch.keep.database import FILE_NAME, Database
from bootwatch.keep.files import write_whole
from bootwatch.model.instant import written
from bootwatch.model.moment import Moment
from bootwatch.observe.answers import Entry, answers_the_same
from bootwatch.observe.machine import Machine
from bootwatch.places import Places
from bootwatch.service.alone import alone

FORMAT = "bootwatch/again/1"
_ANSWERS, _LAST = "answers.json", "answers-last.json"
_DAY = 86400  # seconds
# A full reading drops up to eight of the oldest snapshots (keep/prune.py): itself and these.
_MOST_IN_A_ROW = 7
_NEVER = (Moment.WATCH, Moment.RESUME)
_MODE = 0o644
# Where SQLite counts the changes of a database (its file format, §1.3.7).
_CHANGES = slice(24, 28)
# The published documents, and where in each it stands which snapshot they are of.
_STAMPED: dict[str, tuple[tuple[str, ...], ...]] = {
    "routes.json": ((),),
    "drift.json": ((),),
    "alert.json": (("message",), ("message", "routes"), ("message", "state")),
}
_METRICS, _LOOKED = "metrics.prom", "bootwatch_last_look_seconds "
_PUBLISHED = (*_STAMPED, _METRICS, "summary", "motd", "volumes")

Document = dict[str, Any]


@dataclass(frozen=True)
class Again:
    """A snapshot in which all was found again; ``said``: how it compares, in one line."""

    number: int
    said: str


def again(places: Places, moment: str) -> Again | None:
    """Record that all is as it was; None, and nothing is written, where that can't be said.

    Raises Problem when it can't be recorded.
    """
    kept = None if moment in _NEVER else _read(places.history / _ANSWERS)
    if kept is None or not _may_ask(kept, places):
        return None
    with alone(places):
        last = _last_number(kept, places)
        if last is None or not answers_the_same(Machine(places.root), kept["entries"]):
            return None
        instant = written(datetime.now(UTC))
        with Database.open(places.history) as history, history.transaction():
            number = history.repeat(last, moment, instant)
        _publish(places, {"snapshot": number, "time": instant, "moment": moment})
        _note(places, kept["own"], number)
    return Again(number, str(kept["said"]))


def given(places: Places) -> str:
    """The digest of what a reading goes by besides the machine and the history."""
    files = (
        places.config,
        places.baseline / "current.yaml",
        places.baseline / "log",
        places.restores / "log",
        places.kit / "last.json",
    )
    place = str(places.root), time.localtime().tm_gmtoff
    own = [bootwatch.__version__, sys.version, *place, *map(_digest_of, files)]
    return digest([own, *_below(places.restores), *_program()])


def remember(places: Places, before: str, entries: list[Entry], number: int, said: str) -> None:
    """Leave behind what the machine answered in a full reading, which recorded snapshot ``number``.

    ``before`` is what `given` was before it. Whatever fails, the next reading is a full one.
    """
    document = {
        "format": FORMAT,
        "given": before,
        "entries": entries,
        "said": said,
        "number": number,
        "day": _today(),
        "wall": time.time(),
        "run": time.clock_gettime(time.CLOCK_BOOTTIME),
    }
    own = digest(document)
    with contextlib.suppress(OSError), alone(places), Database.look(places.history) as history:
        if history and history.last_number() == number:
            _put(places.history / _ANSWERS, document | {"own": own})
            _note(places, own, number)


def _may_ask(kept: Document, places: Places) -> bool:
    """Whether answers are recent enough, and were given in the same circumstances."""
    try:
        ages = time.time() - kept["wall"], time.clock_gettime(time.CLOCK_BOOTTIME) - kept["run"]
        is_recent = all(0 <= age < _DAY for age in ages) and kept["day"] == _today()
        is_whole = kept["format"] == FORMAT and {"entries", "said", "number", "own"} <= kept.keys()
        return bool(is_recent and is_whole and kept["given"] == given(places))
    except (KeyError, TypeError, OSError):
        return False


def _last_number(kept: Document, places: Places) -> int | None:
    """The newest snapshot's number; None where anything was recorded or published besides, or a full reading
    is due."""
    last = _read(places.history / _LAST) or {}
    with contextlib.suppress(KeyError, TypeError, ValueError, OSError):
        number, first = int(last["number"]), int(kept["number"])
        is_ours = last["answers"] == kept["own"] and last["is"] == _standing(places)
        return number if is_ours and 0 <= number - first < _MOST_IN_A_ROW else None
    return None


def _today() -> str:
    return written(datetime.now(UTC))[:10]


def _standing(places: Places) -> Document:
    """How the history and what was published stand."""
    path = places.history / FILE_NAME
    with path.open("rb", buffering=0) as file:
        changes = file.read(100)[_CHANGES].hex()
    is_cut_off = path.with_name(f"{FILE_NAME}-journal").exists()
    run = places.run
    published = [str(run), *(_digest_of(run / name) for name in _PUBLISHED)] if run else []
    return {"changes": changes, "size": path.stat().st_size, "cut": is_cut_off, "published": published}


def _note(places: Places, own: str, number: int) -> None:
    with contextlib.suppress(OSError):
        _put(places.history / _LAST, {"answers": own, "number": number, "is": _standing(places)})


def _publish(places: Places, stamp: Document) -> None:
    """What was published, with the new snapshot's number, time and moment."""
    run = places.run
    if run is None:
        return
    try:
        for name, spots in _STAMPED.items():
            if (document := _read(run / name)) is not None:
                _stamp(document, spots, stamp)
                write_whole(run / name, (json.dumps(document, indent=1) + "\n").encode(), _MODE)
        seconds = datetime.fromisoformat(stamp["time"]).timestamp()
        looked = f"{_LOOKED}{seconds:.15g}\n"
        lines = (run / _METRICS).read_text().splitlines(keepends=True)
        text = "".join(looked if line.startswith(_LOOKED) else line for line in lines)
        write_whole(run / _METRICS, text.encode(), _MODE)
    except OSError as error:
        print(f"bootwatch: the summary in {run} was not renewed: {error.strerror}", file=sys.stderr)


def _stamp(document: Document, spots: tuple[tuple[str, ...], ...], stamp: Document) -> None:
    for spot in spots:
        found: Any = document
        for name in spot:
            found = found.get(name, {})
        if found.get("snapshot") is not None:
            found |= {name: value for name, value in stamp.items() if name in found}


def _program() -> Iterator[object]:
    """The program itself: an installation lays it anew. Not that in a recovery kit, which is one file."""
    with contextlib.suppress(OSError):
        library = os.stat(os.path.dirname(bootwatch.__file__))
        yield library.st_dev, library.st_ino, library.st_mtime_ns


def _below(folder: Path) -> Iterator[object]:
    """What lies in a folder and in its folders, by times and numbers of its files."""
    with contextlib.suppress(OSError):
        for entry in sorted(os.scandir(folder), key=lambda one: one.name):
            about = entry.stat(follow_symlinks=False)
            yield entry.path, about.st_ino, about.st_mtime_ns, about.st_ctime_ns, about.st_size
            if entry.is_dir(follow_symlinks=False):
                yield from _below(Path(entry.path))


def _digest_of(path: Path) -> str:
    """Of a file's content; why it can't be read, where it can't."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        return type(error).__name__


def _read(path: Path) -> Document | None:
    try:
        document = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return None
    return document if isinstance(document, dict) else None


def _put(path: Path, document: Document) -> None:
    """Without waiting for the disk: what a power cut leaves of it is not asked for after the next start."""
    beside = path.with_name(f".{path.name}")
    beside.write_text(json.dumps(document, separators=(",", ":")))
    beside.replace(path)
