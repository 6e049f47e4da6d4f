"""The settings that hold: those in the file; and as long as there is a mistake in it, those from before."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from bootwatch.config import Config
from bootwatch.keep.files import write_whole
from bootwatch.places import Places
from bootwatch.problem import Problem

_KEPT = "settings.yaml"


@dataclass(frozen=True)
class InForce:
    """``trouble`` is the mistake in the file, None where there is none; ``log_in`` says so at log-in."""

    config: Config
    trouble: Problem | None = None
    log_in: str = ""


def in_force(places: Places) -> InForce:
    """Read the settings, and keep them for when the next ones can't be used: a mistake stops no watching.

    What is kept lies in the reader's own folder. Where that can't be written nothing is kept.
    """
    kept = places.history / _KEPT
    try:
        config = Config.load(places.config)
    except Problem as problem:
        former = _former(kept)
        held = "its settings from before" if former else "no settings at all"
        return InForce(former or Config(), problem, f"bootwatch goes by {held}: {problem.message}")
    with suppress(OSError):
        _keep(kept, places.config.read_bytes() if places.config.exists() else b"")
    return InForce(config)


def _former(kept: Path) -> Config | None:
    with suppress(Problem):
        return Config.load(kept) if kept.exists() else None
    return None


def _keep(kept: Path, data: bytes) -> None:
    if not kept.exists() or kept.read_bytes() != data:
        write_whole(kept, data)
