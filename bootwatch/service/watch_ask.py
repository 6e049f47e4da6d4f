"""How the watch has a reading taken: it asks the system manager, or runs one itself where there is none."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

REQUEST = "request"
_BEGAN = "began"
_PROGRAM = (
    "import sys; sys.path.insert(0, sys.argv.pop(1)); from bootwatch.cli.main import main; sys.exit(main())"
)


class Asker(Protocol):
    """Whoever has readings taken."""

    @property
    def is_busy(self) -> bool:
        """Whether a reading runs that would miss what changed meanwhile: the next question waits."""

    def ask(self) -> None:
        """Have a reading taken. Raises OSError when it can't be asked for."""

    def ended(self) -> str:
        """Called when a child of this process ended: a sentence on what failed, "" where nothing did."""

    def is_first(self) -> bool:
        """Whether this is the first watch since the machine was started; the next call says no."""


class RequestFile:
    """A file for which a path unit waits: it starts the read unit, which takes the file away before it reads.

    So a request during a reading leads to one more, and one before it to none besides.
    """

    is_busy = False

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def ask(self) -> None:
        self._make(REQUEST)

    def ended(self) -> str:
        return ""

    def is_first(self) -> bool:
        try:
            self._make(_BEGAN, os.O_EXCL)
        except OSError:
            # There is one; or none can be made, and nobody knows: better one reading too many.
            return False
        return True

    def _make(self, name: str, how: int = 0) -> None:
        # The reader may put things into this folder, too: nothing of its making is followed.
        flags = os.O_WRONLY | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC | how
        os.close(os.open(self.folder / name, flags, 0o644))


class Child:
    """A command of ours that takes the reading, for a folder that stands for a machine."""

    def __init__(self, arguments: Sequence[str]) -> None:
        self.arguments = list(arguments)
        self._process = 0

    @property
    def is_busy(self) -> bool:
        return self._process != 0

    def ask(self) -> None:
        library = str(Path(__file__).resolve().parents[2])
        command = [sys.executable, "-I", "-c", _PROGRAM, library, *self.arguments]
        self._process = os.posix_spawn(command[0], command, os.environ, setsigdef=[signal.SIGPIPE])

    def ended(self) -> str:
        if not self._process:
            return ""
        process, status = os.waitpid(self._process, os.WNOHANG)
        if not process:
            return ""
        self._process = 0
        return f"The last reading failed ({os.waitstatus_to_exitcode(status)})." if status else ""

    def is_first(self) -> bool:
        return True
