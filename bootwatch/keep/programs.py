"""Programs that the reader leaves in its own folder, for whoever saves a baseline to take over as spares."""

from __future__ import annotations

import os
from pathlib import Path

from bootwatch.keep.files import write_whole
from bootwatch.problem import Problem


class Programs:
    """A folder of programs, each named by the SHA-256 of its content."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._kept: set[str] = set()

    def keep(self, digest: str, data: bytes) -> None:
        """Leave one program. Raises Problem when it can't be written."""
        try:
            self._folder.mkdir(mode=0o750, parents=True, exist_ok=True)
            if not (self._folder / digest).exists():
                write_whole(self._folder / digest, data)
        except OSError as error:
            raise Problem(
                f"A program can't be copied to {self._folder}: {error.strerror}.",
                "See whether there is room there.",
            ) from error
        self._kept.add(digest)

    def drop_others(self) -> None:
        """Take away what was not kept by this object. Raises Problem."""
        try:
            names = os.listdir(self._folder)
            for name in set(names) - self._kept:
                os.unlink(self._folder / name)
        except FileNotFoundError:
            return
        except OSError as error:
            raise Problem(
                f"Old programs can't be removed from {self._folder}: {error.strerror}.",
                "Look at that folder.",
            ) from error
