"""Trials kept for tests that start no machine: state before, gaps, result. Compressed JSON, a line each."""

import json
import lzma
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import Snapshot, State
from tests.firmware.starts.losses import foreseen
from tests.firmware.starts.start import Result

SAMPLES = Path(__file__).parent / "samples"


@dataclass(frozen=True)
class Recording:
    """One trial. `loss` is what happened to the machine between the state and the start, if anything."""

    seed: int
    features: frozenset[str]
    state: State
    gaps: tuple[Gap, ...]
    result: Result
    loss: dict[str, Any] | None = None

    @classmethod
    def of(
        cls, seed: int, features: Iterable[str], snapshot: Snapshot, result: Result, loss: Any = None
    ) -> "Recording":
        return cls(seed, frozenset(features), snapshot.state, snapshot.gaps, result, loss)

    def with_result(self, result: Result) -> "Recording":
        return replace(self, result=result)

    def harmed(self) -> "Recording":
        """With the state as a rehearsal has it after the loss."""
        return replace(self, state=foreseen(self.state, self.loss)) if self.loss else self

    def to_json(self) -> dict[str, Any]:
        return {
            "seed": self.seed,
            "features": sorted(self.features),
            "parts": self.state.parts(),
            "gaps": [gap.to_json() for gap in self.gaps],
            "result": self.result.to_json(),
            **({"loss": self.loss} if self.loss else {}),
        }

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> "Recording":
        return cls(
            document["seed"],
            frozenset(document["features"]),
            State.from_parts(document["parts"]),
            tuple(Gap.from_json(gap) for gap in document["gaps"]),
            Result.from_json(document["result"]),
            document.get("loss"),
        )


def path_of(name: str) -> Path:
    """The sample of that name: an architecture's, or the losses'."""
    return SAMPLES / f"{name.lower()}.jsonl.xz"


def write(name: str, about: str, recordings: Iterable[Recording]) -> Path:
    """Writes the sample anew; its first line says how it was made."""
    documents = [{"about": about}, *(one.to_json() for one in recordings)]
    lines = "".join(json.dumps(one, ensure_ascii=False, sort_keys=True) + "\n" for one in documents)
    path = path_of(name)
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(lzma.compress(lines.encode("utf-8", "surrogatepass"), preset=9 | lzma.PRESET_EXTREME))
    return path


def read(name: str) -> Iterator[Recording]:
    """Every trial of the sample."""
    for document in documents(name):
        if "about" not in document:
            yield Recording.from_json(document)


def documents(name: str) -> Iterator[dict[str, Any]]:
    """The lines as they are."""
    text = lzma.decompress(path_of(name).read_bytes()).decode("utf-8", "surrogatepass")
    return map(json.loads, text.split("\n")[:-1])
