"""Which volume of today may be one of the baseline's that isn't found: questions, no answers. Pure."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from bootwatch.judge.pairs import plain
from bootwatch.model.snapshot import State
from bootwatch.model.volume import Volume


@dataclass(frozen=True)
class Question:
    """Whether ``was`` is ``now``: two identities. ``why`` is a clause; it may carry hostile characters."""

    was: str
    now: str
    label: str
    why: str

    def to_json(self) -> dict[str, Any]:
        return dict(vars(self))


def questions(
    lost: Iterable[Volume], before: State, today: State, told: Collection[str] = ()
) -> list[Question]:
    """For each volume of the baseline that is lost, the one of today that the baseline doesn't know and that
    is most like it; each of today is asked about once, the likest pairs first, and none of those of which was
    ``told`` already."""
    known = {plain(identity) for identity in (*before.volumes, *told)}
    new = [
        one
        for one in today.volumes.values()
        if plain(one.identity) not in known and one.number is not None and "@" not in one.identity
    ]
    pairs = sorted(
        ((_likeness(old, one), old, one) for old in lost for one in new),
        key=lambda pair: pair[0],
        reverse=True,
    )
    found: dict[str, Question] = {}
    taken: set[str] = set()
    for _, old, one in pairs:
        if old.identity not in found and one.identity not in taken:
            found[old.identity] = Question(plain(old.identity), one.identity, old.label, _why(old, one))
            taken.add(one.identity)
    return list(found.values())


def _likeness(old: Volume, new: Volume) -> tuple[float, bool, bool, bool]:
    shared, held = _shared(old, new)
    return (
        shared / max(held, 1),
        bool(old.label) and old.label == new.label,
        old.size == new.size,
        old.type == new.type,
    )


def _shared(old: Volume, new: Volume) -> tuple[int, int]:
    """How many files with the same content lie at the same path on both, of how many on the former."""
    held = {path: file.sha256 for path, file in old.by_folded_path.items() if file.sha256}
    there = new.by_folded_path
    same = sum(1 for path, own in held.items() if path in there and there[path].sha256 == own)
    return same, len(held)


def _why(old: Volume, new: Volume) -> str:
    return ", ".join(_reasons(old, new)) or "nothing is alike but that both are boot volumes"


def _reasons(old: Volume, new: Volume) -> Iterator[str]:
    shared, held = _shared(old, new)
    if shared:
        yield f"{shared} of {held} files are the same"
    if old.label and old.label == new.label:
        yield f'the same label "{old.label}"'
    if old.size == new.size:
        yield "the same size"
