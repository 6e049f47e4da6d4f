"""A situation through the real pipeline: recorded, compared, placed in time, spooled and put into words."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import yaml

from bootwatch.formats.load_option import LoadOption
from bootwatch.judge.entries import variable_of
from bootwatch.keep import baseline as baselines
from bootwatch.keep.history import History
from bootwatch.keep.spool import Spool
from bootwatch.model.alert import Kind
from bootwatch.model.change import Drift
from bootwatch.model.message import Message
from bootwatch.model.snapshot import Snapshot
from bootwatch.places import Places
from bootwatch.recover.record import Done, Record
from bootwatch.recover.steps import WriteEntry
from bootwatch.service.read import Reading, keep_snapshot, recompare
from bootwatch.tell.report import drift_report
from bootwatch.tell.wording import body, subject
from tests.situations.machine import Machine
from tests.situations.steps import BEGIN, Course
from tests.situations.written import read

HERE = Path(__file__).parent
_MEMORY = "/dev/shm"
_TOP = ("what", "machine", "settings", "baseline", "then", "expected")


@dataclass(frozen=True)
class Scene:
    """What one snapshot showed: number, drift, what starts next, and the message that was made, if any."""

    number: int
    drift: Drift
    next_start: str
    message: Message | None
    expected: dict[str, Any] | None


@dataclass(frozen=True)
class Told:
    """All of a situation, and the words in which people read it."""

    scenes: tuple[Scene, ...]
    report: str

    @property
    def text(self) -> str:
        """What ``told.txt`` holds: the drift at the end, then every message in the order of making."""
        messages = [scene.message for scene in self.scenes if scene.message]
        parts = [_titled("bootwatch drift", self.report)]
        parts += [
            _titled(f"Message at snapshot {one.snapshot}: {subject(one)}", body(one)) for one in messages
        ]
        return "\n".join(parts if messages else [*parts, "No message was made.\n"])


def _titled(title: str, text: str) -> str:
    return f"{title}\n{'=' * min(len(title), 110)}\n\n{text}"


def names() -> list[str]:
    return sorted(path.parent.name for path in HERE.glob("*/situation.yaml"))


def load(name: str) -> dict[str, Any]:
    """A situation as it is written. Raises ValueError for a key that nobody knows."""
    said = read(HERE / name / "situation.yaml")
    unknown = set(said) - set(_TOP)
    if unknown:
        raise ValueError(f"{name}: nothing is known of {', '.join(sorted(unknown))}")
    return said


class Stage:
    """Where situations are played, each on a machine of its own. What several begin with is made only once,
    and copied: the machine with its baseline saved."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._begun: dict[str, Path] = {}

    @classmethod
    @contextlib.contextmanager
    def made(cls) -> Iterator[Stage]:
        """A new one, in memory where that is possible: histories wait for their disk at every step."""
        memory = _MEMORY if os.access(_MEMORY, os.W_OK) else None
        with tempfile.TemporaryDirectory(prefix="situations-", dir=memory) as folder:
            yield cls(Path(folder))

    def play(self, said: dict[str, Any]) -> Told:
        """Let a situation happen. The first snapshot is the one that is saved as the baseline."""
        course = Course(Machine.load(said["machine"]))
        course.change(said.get("baseline", {}))
        first = course.step({"moment": "asked"})
        with tempfile.TemporaryDirectory(dir=self._folder) as folder:
            places = Places.below(Path(folder) / "machine")
            shutil.copytree(self._begin(said, first), places.root)
            return _played(places, course, said)

    def _begin(self, said: dict[str, Any], first: Snapshot) -> Path:
        """A machine of which ``first`` was recorded and saved."""
        given = json.dumps([said.get(name) for name in ("machine", "settings", "baseline")])
        if given not in self._begun:
            places = _places(self._folder / f"begun-{len(self._begun)}", said.get("settings"))
            keep_snapshot(places, first, tell=False)
            save(places)
            self._begun[given] = places.root
        return self._begun[given]


def _played(places: Places, course: Course, said: dict[str, Any]) -> Told:
    readings, scenes = [], []
    for step in said["then"]:
        reading = keep_snapshot(places, course.step(step))
        readings.append(reading)
        scenes.append(_scene(places, reading, step.get("expected")))
        note_restore(places, reading, step.get("restored", ()))
    last = replace(scenes.pop(), expected=said["expected"])
    return Told((*scenes, last), drift_report(last.drift, readings[-1].facts))


def note_restore(places: Places, reading: Reading, numbers: Iterable[int]) -> None:
    """The record of a restore by which these entries came back, as the reading shows them."""
    variables, seen = reading.snapshot.state.variables, reading.snapshot.circumstance
    data = {number: variables[variable_of(number)].data for number in numbers}
    steps = [
        WriteEntry(one, own, str(LoadOption.parse(own).description), None, "") for one, own in data.items()
    ]
    if steps:
        record = Record.begin(places.restores, began=seen.time, by="root", boot=seen.boot_id)
        record.done = [Done(step.to_json(), None, is_done=True) for step in steps]
        record.document["finished"] = True
        record.save()


def _places(folder: Path, settings: Any) -> Places:
    (folder / "sys/firmware/efi").mkdir(parents=True)
    places = Places.below(folder)
    if settings:
        places.config.parent.mkdir(parents=True)
        places.config.write_text(yaml.safe_dump(settings), "utf-8")
    return places


def save(places: Places) -> None:
    """As `bootwatch baseline save` does, but for the spares and the time of day."""
    with History.look(places.history) as history:
        assert history
        (row,) = history.rows(1)
        document = baselines.make_document(
            machine=str(row.overview["machine"]),
            saved=BEGIN,
            reason="both systems start",
            by="root",
            snapshot=row.number,
            parts=history.parts(row.number),
            gaps=row.overview["gaps"],
            overview=row.overview,
        )
    baselines.save(places.baseline, document)
    recompare(places)


def _scene(places: Places, reading: Reading, expected: Any) -> Scene:
    number, drift = reading.snapshot.number, reading.drift
    assert number is not None and drift is not None
    following = reading.routes["next_start"]
    system = following["system"] or following["by"]
    made = [one for one in _messages(places) if one.snapshot == number]
    # News and an all-clear for what was worse can come of one reading; the news are what is expected.
    message = min(made, key=lambda one: one.kind is not Kind.NEWS, default=None)
    return Scene(number, drift, system, message, expected)


def _messages(places: Places) -> Iterator[Message]:
    def fail(path: Path, why: str) -> None:
        raise AssertionError(f"{path}: {why}")

    return (message for _, message in Spool(places.spool).messages(fail))
