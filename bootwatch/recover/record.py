"""What a restore did: each step with what was there before it, kept before anything is written."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from bootwatch.keep.files import write_whole
from bootwatch.problem import Problem

FORMAT = "bootwatch/restore/1"
_FILE = "record.json"
_MODE = 0o640


@dataclass
class Done:
    """One step as JSON; ``former`` is what was there before: for a file the SHA-256 of its content, for a
    variable its attributes and bytes, None where nothing was. ``is_done``: it was written and read back."""

    step: dict[str, Any]
    former: Any
    is_done: bool = False

    def to_json(self) -> dict[str, Any]:
        return {"step": self.step, "former": self.former, "is_done": self.is_done}


@dataclass
class Record:
    """One restore, in a folder of its own that root owns."""

    folder: Path
    document: dict[str, Any]
    done: list[Done] = field(default_factory=list)

    @property
    def number(self) -> int:
        return int(self.folder.name)

    @property
    def is_undone(self) -> bool:
        return bool(self.document.get("undone"))

    @classmethod
    def begin(cls, folder: Path, **about: Any) -> Record:
        """A new one below ``folder``. Raises OSError."""
        folder.mkdir(mode=0o750, parents=True, exist_ok=True)
        number = max((int(path.name) for path in folder.glob("[0-9]*")), default=0) + 1
        own = folder / f"{number:04d}"
        own.mkdir(mode=0o750)
        (own / "former").mkdir(mode=0o700)
        record = cls(own, {"format": FORMAT, **about})
        record.save()
        return record

    @classmethod
    def newest(cls, folder: Path) -> Record | None:
        """The last one that wasn't undone; None where there is none. Raises Problem for a damaged one."""
        for own in sorted(folder.glob("[0-9]*"), reverse=True):
            record = cls._read(own)
            if record and not record.is_undone:
                return record
        return None

    @classmethod
    def _read(cls, own: Path) -> Record | None:
        try:
            document = json.loads((own / _FILE).read_bytes())
            if document["format"] != FORMAT:
                raise ValueError(document["format"])
            done = [Done(**one) for one in document.pop("steps")]
            return cls(own, document, done)
        except FileNotFoundError:
            return None  # cut off before anything was written
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise Problem(f"The record of a restore in {own} can't be used: {error}.") from error

    def save(self) -> None:
        """Raises OSError."""
        document = {**self.document, "steps": [one.to_json() for one in self.done]}
        write_whole(self.folder / _FILE, json.dumps(document, indent=1).encode(), _MODE)

    def keep(self, content: bytes) -> str:
        """Keep what a file held; its SHA-256. Raises OSError."""
        own = hashlib.sha256(content).hexdigest()
        write_whole(self.folder / "former" / own, content, 0o600)
        return own

    def kept(self, own: str) -> bytes:
        """Raises Problem where that is gone or damaged."""
        try:
            content = (self.folder / "former" / own).read_bytes()
        except OSError as error:
            raise Problem(f"What was kept of a file can't be read: {error.strerror}.") from error
        if hashlib.sha256(content).hexdigest() != own:
            raise Problem(f"What was kept in {self.folder} of a file is damaged.")
        return content
