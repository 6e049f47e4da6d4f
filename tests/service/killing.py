"""A machine on which commands are killed, and what must hold however far they came."""

from __future__ import annotations

import contextlib
import hashlib
import io
import shutil
import sqlite3
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bootwatch.cli.main import main
from bootwatch.keep import alerts, baseline, soundness, spares
from bootwatch.keep.history import FILE_NAME, History
from bootwatch.keep.spool import Spool
from bootwatch.places import Places
from tests.roots import DEFAULT_LOADER, FERNWICK_LOADER, QUARRY_LOADER, Root, dual, program

Telling = tuple[str, str, int, tuple[str, ...]]
"""A message: kind, name of its alert, stage, and the news in it."""


@dataclass(frozen=True)
class Ended:
    """What a command said and how it ended."""

    status: int
    out: str
    err: str


@dataclass(frozen=True)
class Kept:
    """All that was kept at one moment; ``baseline`` is the file itself, None where there is none."""

    baseline: bytes | None
    messages: dict[str, Telling]
    snapshots: tuple[int, ...]


class Machine:
    """The usual machine, with what bootwatch keeps of it."""

    def __init__(self, root: Root) -> None:
        self.root = root
        self.places = Places.below(root.folder)

    @property
    def _own(self) -> list[Path]:
        return [self.places.state, self.places.receipts, self.root.folder / "run"]

    def command(self, *words: str) -> list[str]:
        """How a person would run it."""
        return [sys.executable, "-B", "-m", "bootwatch.cli", "--root", str(self.root.folder), *words]

    def __call__(self, *words: str) -> Ended:
        """Run it here and now."""
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            status = main(["--root", str(self.root.folder), *words])
        return Ended(status, out.getvalue(), err.getvalue())

    def put_aside(self, to: Path) -> None:
        """Copy what bootwatch keeps."""
        for number, folder in enumerate(self._own):
            if folder.exists():
                shutil.copytree(folder, to / str(number))

    def put_back(self, copy: Path) -> None:
        """Make it again what it was when it was copied."""
        for number, folder in enumerate(self._own):
            if folder.is_dir():
                shutil.rmtree(folder)
            else:
                folder.unlink(missing_ok=True)
            if (copy / str(number)).exists():
                shutil.copytree(copy / str(number), folder)

    def kept(self) -> Kept:
        """All whole, or this fails."""
        path = self.places.baseline / baseline.FILE_NAME
        return Kept(
            path.read_bytes() if path.exists() else None,
            {message.id: told for message, told in self._messages()},
            self._snapshots(),
        )

    def _messages(self) -> list[tuple[Any, Telling]]:
        def torn(path: Path, why: str) -> None:
            raise AssertionError(f"{path.name} in the spool: {why}")

        return [
            (one, (one.kind.value, one.called, one.stage, tuple(sorted(one.news))))
            for _, one in Spool(self.places.spool).messages(torn)
        ]

    def _snapshots(self) -> tuple[int, ...]:
        with History.look(self.places.history) as history:
            return tuple(row.number for row in history.rows()) if history else ()

    def leftovers(self) -> list[Path]:
        """Temporary files."""
        return [
            path
            for folder in self._own
            for path in folder.rglob(".*")
            if path.is_file() and path.name.count(".") > 1
        ]

    def require_whole(self) -> None:
        """Each thing that is kept is whole by itself, and what hangs together fits."""
        self._require_history()
        found = baseline.load(self.places.baseline)
        if found:
            lacking = [
                own for own in spares.wanted(found.parts) if spares.read(self.places.spares, own) is None
            ]
            assert not lacking, "the baseline came before its spares"
        for path in self.places.spares.glob("[!.]*"):
            assert hashlib.sha256(path.read_bytes()).hexdigest() == path.name

    def _require_history(self) -> None:
        path = self.places.history / FILE_NAME
        if not path.exists():
            return
        with contextlib.closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as database:
            assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            assert database.execute("PRAGMA foreign_key_check").fetchall() == []
        with History.look(self.places.history) as history:
            assert history or not path.stat().st_size, "nobody sees it"  # empty: it was being made
            found = list(soundness.faults(history)) if history else []
            assert not found, found
        assert not list(path.parent.glob("*.damaged-*")), "the history was given up"

    def unsettled(self) -> int:
        """Stages of alerts that were begun and not confirmed."""
        with History.look(self.places.history) as history:
            found = alerts.listed(history) if history else []
        return sum(not stage.is_spooled for alert in found for stage in alert.stages)


@dataclass(frozen=True)
class Story:
    """A command that is killed. ``prepare`` brings the machine to where it is given; ``news`` is how many
    messages it spools when nobody stops it."""

    name: str
    words: tuple[str, ...]
    prepare: Callable[[Machine], None]
    news: int

    @property
    def writes_baseline(self) -> bool:
        return self.words[0] == "baseline"


def _save(machine: Machine, reason: str = "all start") -> None:
    assert machine("baseline", "save", "--reason", reason, "--yes").status == 0


def _break(machine: Machine) -> None:
    """One loader is gone, and another one is new."""
    machine.root.put("vda", 1, FERNWICK_LOADER, program("fernwick 2"))
    machine.root.remove("vda", 1, DEFAULT_LOADER)
    machine.root.remove("vdb", 1, QUARRY_LOADER)


def _fresh(machine: Machine) -> None:
    """Nothing was ever recorded."""


def _good(machine: Machine) -> None:
    _save(machine)


def _broken(machine: Machine) -> None:
    _save(machine)
    assert machine("snapshot").status == 0
    _break(machine)


def _told(machine: Machine) -> None:
    _broken(machine)
    assert machine("snapshot").status == 0


def _mended(machine: Machine) -> None:
    """Put back, but for one file."""
    _told(machine)
    machine.root.put("vda", 1, FERNWICK_LOADER, program("fernwick 1"))
    machine.root.put("vda", 1, DEFAULT_LOADER, program("fernwick 1"))
    machine.root.put("vdb", 1, QUARRY_LOADER, program("quarry 1"))


SAVE = ("baseline", "save", "--reason", "after the change", "--yes")
ADOPT = ("baseline", "adopt", "loader-changed", "--reason", "an update", "--yes")
STORIES = (
    Story("the first snapshot", ("snapshot",), _fresh, 0),
    Story("a snapshot, nothing new", ("snapshot",), _good, 0),
    Story("a snapshot with news", ("snapshot",), _broken, 1),
    Story("a snapshot with an all-clear", ("snapshot",), _mended, 1),
    Story("the first baseline save", SAVE, _fresh, 0),
    Story("baseline save over an alert", SAVE, _told, 1),
    Story("baseline adopt, one of three", ADOPT, _told, 0),
)  # fmt: skip


class Scene:
    """A story's machine, ready to be killed again and again; ``undisturbed`` is what comes of it when nobody
    stops it."""

    def __init__(self, story: Story, folder: Path) -> None:
        self.story = story
        self.machine = Machine(dual(folder / "machine"))
        self._copy = folder / "before"
        story.prepare(self.machine)
        self.machine.put_aside(self._copy)
        self.before = self.machine.kept()
        assert self.machine(*story.words).status == 0
        self.machine("snapshot")
        self.undisturbed = self.machine.kept()
        self.new_parts = self._parts()
        assert len(self.undisturbed.messages) == len(self.before.messages) + story.news
        self.start_over()

    @property
    def command(self) -> list[str]:
        return self.machine.command(*self.story.words)

    def start_over(self) -> None:
        self.machine.put_back(self._copy)

    def _parts(self) -> Any:
        found = baseline.load(self.machine.places.baseline)
        return found.parts if found else None

    def go_on(self) -> Outcome:
        """After a kill: what was kept is whole, the service's next reading works, and so does the command
        when it is given once more; nothing was lost, and nothing is told twice."""
        machine = self.machine
        left = self._look()
        found = machine("snapshot")
        assert (found.status, found.err) == (0, "")
        machine.require_whole()
        after = machine.kept()
        assert left.messages.items() <= after.messages.items(), "what the sender may have sent was taken back"
        assert machine.unsettled() == 0
        again = machine(*self.story.words)
        is_adopted = self.story.words[1:2] == ("adopt",) and self.baseline_is_new(left)
        assert (again.status, "Traceback" in again.err) == (2 if is_adopted else 0, False), again.err
        assert machine("snapshot").status == 0
        machine.require_whole()
        last = machine.kept()
        assert after.messages.items() <= last.messages.items()
        told = sorted(last.messages.values())
        assert told == sorted(self.undisturbed.messages.values()), "lost, or told twice"
        assert last.snapshots == tuple(range(len(last.snapshots), 0, -1))
        return Outcome(
            baseline_new=self.baseline_is_new(left),
            recorded=len(left.snapshots) > len(self.before.snapshots),
            spooled=len(left.messages) > len(self.before.messages),
            leftovers=len(machine.leftovers()),
        )

    def _look(self) -> Kept:
        """What is there right after it, for people who only look."""
        machine = self.machine
        for words in (("drift",), ("routes",), ("history",), ("alerts",), ("baseline", "show")):
            said = machine(*words)
            assert said.status in (0, 1, 4), (words, said.err)
        left = machine.kept()
        machine.require_whole()
        assert left.baseline == self.before.baseline or self._parts() == self.new_parts, "neither old nor new"
        if left.baseline != self.before.baseline:
            assert self.story.writes_baseline
            formers = [one.read_bytes() for one in machine.places.baseline.glob("2*.yaml")]
            assert self.before.baseline is None or self.before.baseline in formers, "the old one is gone"
        assert set(left.messages.values()) <= set(self.undisturbed.messages.values())
        return left

    def baseline_is_new(self, kept: Kept) -> bool:
        return kept.baseline != self.before.baseline


@dataclass(frozen=True)
class Outcome:
    """How far a killed command had come, and how many temporary files are left once it was given again."""

    baseline_new: bool
    recorded: bool
    spooled: bool
    leftovers: int
