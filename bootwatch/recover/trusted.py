"""Whether Secure Boot, as it is set today, takes the programs that a restore puts back.

Pure, but for the door through which a program's content comes.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from bootwatch.formats import FormatError
from bootwatch.formats.pe import Image
from bootwatch.judge.outlook import Outlook
from bootwatch.judge.trust import SecureBoot, Starter, Trust, Verdict
from bootwatch.model.path import fold, folder_of
from bootwatch.model.snapshot import State
from bootwatch.recover.steps import Step, WriteFile

Content = Callable[[str], bytes | None]
"""The content with that SHA-256; None where no copy of it was kept."""

_NO_COPY = Trust(Verdict.UNKNOWN, "there is no copy of it to be looked at")
_NO_PROGRAM = Trust(Verdict.REFUSED, "it is no program that firmware could run")


@dataclass(frozen=True)
class FileTrust:
    """What Secure Boot makes of one file that would be put back."""

    volume: str
    path: str
    trust: Trust

    def to_json(self) -> dict[str, Any]:
        said = {"verdict": self.trust.verdict.value, "why": self.trust.why}
        return {"volume": self.volume, "path": self.path, **said}


@dataclass
class Trusted:
    """Judges programs by their content, each once."""

    secure: SecureBoot
    content: Content
    _known: dict[tuple[str, str | None], Trust] = field(default_factory=dict)
    _starters: dict[str, Starter] = field(default_factory=dict)

    def of_steps(
        self, steps: Iterable[Step], state: State, then: Outlook
    ) -> dict[tuple[str, str], FileTrust]:
        """Of each program that the steps write, by the step's target. ``state`` and ``then`` are what is so
        after them: what the firmware starts itself goes by its keys alone."""
        if self.secure.is_on is False:
            return {}
        direct = _direct(then)
        return {
            step.target: FileTrust(step.volume, step.file.path, self._of(step, state, direct))
            for step in steps
            if isinstance(step, WriteFile) and _is_program(step, state)
        }

    def of_started(self, state: State, then: Outlook) -> dict[tuple[str, str], FileTrust]:
        """Of what the firmware starts itself, by volume and folded path, as far as there are copies of it."""
        found = {}
        for volume, path in () if self.secure.is_on is False else sorted(_direct(then)):
            file = state.file(volume, path)
            trust = self._known_or_judged(file.sha256, None) if file and file.sha256 else _NO_COPY
            if file and trust is not _NO_COPY:
                found[volume, path] = FileTrust(volume, file.path, trust)
        return found

    def _of(self, step: WriteFile, state: State, direct: set[tuple[str, str]]) -> Trust:
        starter = None if step.target in direct else _beside(step, state, direct)
        return self._known_or_judged(step.file.sha256 or "", starter)

    def _known_or_judged(self, own: str, starter: str | None) -> Trust:
        if (own, starter) not in self._known:
            self._known[own, starter] = self._judged(own, starter)
        return self._known[own, starter]

    def _judged(self, own: str, starter: str | None) -> Trust:
        data = self.content(own)
        if data is None:
            return _NO_COPY
        try:
            image = Image.read(io.BytesIO(data))
        except FormatError:
            return _NO_PROGRAM
        return self.secure.judge(image, None if starter is None else self._starter(starter))

    def _starter(self, own: str) -> Starter:
        """The program with that content as one that starts others; one that nobody knows for ""."""
        if own not in self._starters:
            data = self.content(own) if own else None
            self._starters[own] = _starter(data)
        return self._starters[own]


def _starter(data: bytes | None) -> Starter:
    try:
        return Starter() if data is None else Starter.of(Image.read(io.BytesIO(data)))
    except FormatError:
        return Starter()


def _direct(then: Outlook) -> set[tuple[str, str]]:
    """What the firmware starts itself: volume and folded path."""
    return {
        (route.volume, fold(route.file))
        for one in then.systems
        for route in one.routes
        if route.volume and route.file and not route.through
    }


def _is_program(step: WriteFile, state: State) -> bool:
    file = state.file(step.volume, step.file.path)
    return bool(step.file.program or (file and file.program))


def _beside(step: WriteFile, state: State, direct: set[tuple[str, str]]) -> str:
    """The content's digest of what the firmware starts from the same folder; "" where that is none or not
    one."""
    volume = state.volumes.get(step.volume)
    folder = fold(folder_of(step.file.path))
    found = {
        file.sha256
        for file in (volume.files.values() if volume else ())
        if file.sha256 and (step.volume, fold(file.path)) in direct and fold(folder_of(file.path)) == folder
    }
    return found.pop() or "" if len(found) == 1 else ""


def of_verdict(files: Iterable[FileTrust], verdict: Verdict) -> list[FileTrust]:
    """Those of one verdict."""
    return [one for one in files if one.trust.verdict is verdict]
