"""Whether all can be written, and there is room for it: found out before the first write."""

from __future__ import annotations

from dataclasses import dataclass, field

from bootwatch.model.variable import Variable
from bootwatch.observe.machine import Machine
from bootwatch.problem import Problem
from bootwatch.recover.paths import beside
from bootwatch.recover.steps import Step, WriteFile
from bootwatch.recover.table import require_writable
from bootwatch.recover.variables import VariableStore
from bootwatch.recover.volumes import Shelf, opened


@dataclass
class Room:
    """What is needed where. Sizes in bytes."""

    machine: Machine
    _files: dict[str, dict[str, int]] = field(default_factory=dict)
    _variables: dict[str, Variable | None] = field(default_factory=dict)
    _folders: dict[tuple[str, str], list[str]] = field(default_factory=dict)
    _types: list[str] = field(default_factory=list)

    def need_file(self, volume: str, path: str, size: int) -> None:
        self._files.setdefault(volume, {})[path] = size

    def need_variable(self, name: str, wanted: object) -> None:
        self._variables[name] = wanted if isinstance(wanted, Variable) else None

    def need_type(self, volume: str) -> None:
        self._types.append(volume)

    def sweep(self, volume: str, path: str) -> None:
        """Take away what was left beside a file where writing was cut off. Raises Problem, OSError."""
        with opened(self.machine, volume) as shelf:
            _sweep(shelf, path)

    def folders(self, step: Step) -> list[str]:
        """Those that the step makes, as far as no earlier one does."""
        return self._folders.get((step.volume, step.file.path), []) if isinstance(step, WriteFile) else []

    def require(self) -> None:
        """Raises Problem where it can't be written, or hasn't the room; OSError."""
        for volume, sizes in self._files.items():
            with opened(self.machine, volume) as shelf:
                shelf.require_writable()
                self._note_folders(shelf, volume, sizes)
                self._require_room(shelf, volume, sizes)
        for volume in self._types:
            require_writable(self.machine, volume)
        if self._variables:
            store = VariableStore(self.machine)
            store.require_writable()
            store.require_room({name: one for name, one in self._variables.items() if one})

    def _note_folders(self, shelf: Shelf, volume: str, sizes: dict[str, int]) -> None:
        made: set[str] = set()
        for path in sizes:
            own = [folder for folder in shelf.missing_folders(path) if folder not in made]
            self._folders[volume, path] = own
            made.update(own)

    def _require_room(self, shelf: Shelf, volume: str, sizes: dict[str, int]) -> None:
        """A file is written whole before the former one goes, whose room is only free for the next."""
        for path in sizes:
            _sweep(shelf, path)
        free, unit = shelf.room()
        needed = most = 0
        for path, size in sizes.items():
            # A folder takes one unit; a name may make the folder above longer by another.
            needed += _whole(size, unit) + unit * (len(self._folders[volume, path]) + 1)
            most = max(most, needed)
            needed -= _whole(len(shelf.read(path) or b""), unit) + unit
        if most > free:
            raise Problem(
                f"The boot volume {volume} has no room: {most:,} bytes are needed, and {free:,} are free.",
                "Remove what isn't needed there any more, such as old kernels; then run it again.",
            )


def _whole(size: int, unit: int) -> int:
    return -(-size // unit) * unit


def _sweep(shelf: Shelf, path: str) -> None:
    shelf.require_writable()
    shelf.remove(beside(path))
