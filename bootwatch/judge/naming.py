"""What the settings say about systems: names, what belongs together, what is hidden."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from bootwatch.model.path import fold


@dataclass(frozen=True)
class Naming:
    """``names`` gives the name of a system by a label, a folder's name ("fernwick") or path, a volume
    ("gpt:GUID") or both in one ("gpt:GUID\\EFI\\fernwick"); ``hidden`` are names of systems."""

    names: Mapping[str, str] = field(default_factory=dict)
    hidden: frozenset[str] = frozenset()

    @classmethod
    def of(cls, names: Mapping[str, str], hidden: Iterable[str] = ()) -> Naming:
        """With everything folded for comparison."""
        return cls({fold(given): name for given, name in names.items()}, frozenset(map(fold, hidden)))

    def first(self, given: Iterable[str]) -> str | None:
        """The name that goes with the first of ``given`` (what comes first is more exact)."""
        if not self.names:
            return None
        return next((self.names[one] for one in map(fold, given) if one in self.names), None)

    def hides(self, name: str) -> bool:
        return fold(name) in self.hidden
