"""A recovery kit as it is read: every file against its sum, its format, its baseline; nothing is believed."""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from bootwatch.config import Config
from bootwatch.keep import baseline as baselines
from bootwatch.keep.baseline import Baseline
from bootwatch.keep.conform import require
from bootwatch.keep.snapshot_file import require_own_names
from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import State
from bootwatch.problem import Problem, UsageProblem
from bootwatch.recover.kit_contents import ABOUT, BASELINE, BASELINE_YAML, FORMAT, SETTINGS, SUMS, VOLUMES
from bootwatch.recover.kit_files import Files, files_at
from bootwatch.recover.kit_names import is_safe_path

_LINE = re.compile(r"([0-9a-f]{64}) [ *]([^\n]+)")
_LARGEST_ABOUT = 4 << 20
_KIND, _, _MAJOR = FORMAT.rpartition("/")
_NEW_ONE = "Make a new one: sudo bootwatch baseline export --to FOLDER"
_FIELDS: dict[str, Any] = {
    "machine": str,
    "machine_id": str | None,
    "made": str,
    "by": str,
    "serial": int,
    "baseline": dict[str, Any],
    "dmi": dict[str, str],
    "disks": list[str],
    "partitions": list[str],
    "volumes": dict[str, str],
    "without": list[dict[str, str]],
}


# What kits hold since, and former ones don't; see `judge.needed`.
_FILE = {"volume": str, "path": str, "where": str, "size": int, "systems": list[str]}


class NewerKit(Problem):
    """It has a format from the future."""


@dataclass(frozen=True)
class Kit:
    """A kit that was found whole. ``copies``: where in the kit a content lies, by its SHA-256. ``settings``
    are the machine's, None in a kit from before they were carried along, or where they held a mistake."""

    name: str
    about: dict[str, Any]
    baseline: Baseline
    copies: dict[str, str]
    files: Files = field(compare=False, repr=False)
    settings: Config | None = None

    @classmethod
    def open(cls, place: Path) -> Kit:
        """Raises Problem for a damaged one, one with more or less in it than it should have, a newer one."""
        files = files_at(place)
        about = read_about(files)
        sums = _sums(files)
        _require_whole(files, sums)
        baseline = _baseline(files, about, sums)
        copies = {own: path for path, own in sums.items() if path.startswith(f"{VOLUMES}/")}
        return cls(files.name, about, baseline, copies, files, _settings(files, sums))

    @property
    def state(self) -> State:
        return self.baseline.state

    def has_copy(self, own: str) -> bool:
        return own in self.copies or own in self.state.texts

    def copy(self, own: str) -> bytes:
        """A file's content by its SHA-256. Raises Problem."""
        text = self.state.texts.get(own)
        if text is not None:
            return text
        if own not in self.copies:
            raise Problem(f"The kit {self.name} holds no copy of {own[:12]}.")
        data = self.files.read(self.copies[own])
        if hashlib.sha256(data).hexdigest() != own:
            raise Problem(f"The kit {self.name} was changed since it was looked at: {self.copies[own]}.")
        return data


@cache
def opened(place: Path) -> Kit:
    """The same, once in a command."""
    return Kit.open(place)


def is_kit(place: Path) -> bool:
    """Whether this may be one; not whether it is whole."""
    if place.is_symlink():
        return False
    return (place / ABOUT).is_file() if place.is_dir() else place.suffix.lower() == ".zip"


def read_about(files: Files) -> dict[str, Any]:
    """What a kit says of itself, its values checked; it may be damaged otherwise. Raises Problem."""
    document = _json(files, ABOUT, _LARGEST_ABOUT)
    kind, _, major = str(document.get("format", "")).rpartition("/")
    if kind != _KIND:
        raise UsageProblem(f'{files.name} is no recovery kit: it doesn\'t say "format": "{FORMAT}".')
    if major != _MAJOR:
        raise NewerKit(
            f"The kit {files.name} has the format {kind}/{major}; this bootwatch knows {FORMAT}.",
            "Use the program that lies in the kit, or a newer bootwatch.",
        )
    try:
        for name, wanted in _FIELDS.items():
            require(document[name], wanted, name)
        for name in ("vendor", "product"):
            require(document["dmi"][name], str, f"dmi, {name}")
        for name in ("digest", "saved", "reason", "by"):
            require(document["baseline"][name], str, f"baseline, {name}")
        for one in document.setdefault("without_files", []):
            for name, wanted in _FILE.items():
                require(one[name], wanted, f"without_files, {name}")
    except (KeyError, TypeError, ValueError) as error:
        raise _damaged(files, f"{ABOUT}: {error}") from error
    return document


def _json(files: Files, path: str, limit: int) -> dict[str, Any]:
    try:
        document = json.loads(files.read(path, limit))
    except (ValueError, RecursionError) as error:
        raise _damaged(files, f"{path} is no JSON") from error
    if not isinstance(document, dict):
        raise _damaged(files, f"{path} is no object")
    return document


def _sums(files: Files) -> dict[str, str]:
    """The SHA-256 of each file, as SHA256SUMS has it."""
    found: dict[str, str] = {}
    try:
        lines = files.read(SUMS, _LARGEST_ABOUT).decode().splitlines()
    except UnicodeDecodeError as error:
        raise _damaged(files, f"{SUMS} is no text") from error
    for number, line in enumerate(lines, 1):
        match = _LINE.fullmatch(line)
        if match is None:
            raise _damaged(files, f"line {number} of {SUMS} is none")
        if not is_safe_path(match[2]):
            raise _damaged(
                files, f"{SUMS} names {match[2]!r}, which leads out of the kit or fits on no stick"
            )
        found[match[2]] = match[1]
    return found


def _require_whole(files: Files, sums: dict[str, str]) -> None:
    here = set(files.sizes()) - {SUMS}
    for path in sorted(here - set(sums)):
        raise _damaged(files, f"{path!r} doesn't belong to it")
    for path in sorted(set(sums) - here):
        raise _damaged(files, f"{path} is missing")
    for path, own in sums.items():
        if hashlib.sha256(files.read(path)).hexdigest() != own:
            raise _damaged(files, f"{path} is not what it was when the kit was made")


def _baseline(files: Files, about: dict[str, Any], sums: dict[str, str]) -> Baseline:
    if not {BASELINE, BASELINE_YAML, ABOUT} <= set(sums):
        raise _damaged(files, "its baseline is missing")
    own = about["baseline"]["digest"]
    if sums[BASELINE_YAML] != own:
        raise _damaged(files, f"{BASELINE_YAML} is another baseline than it says")
    found = Baseline(_json(files, BASELINE, _LARGEST_BASELINE), own)
    if found.document.get("format") != baselines.FORMAT:
        raise NewerKit(
            f"The kit {files.name} holds a baseline of the format {found.document.get('format')!r}; this "
            f"bootwatch knows {baselines.FORMAT}.",
            "Use the program that lies in the kit, or a newer bootwatch.",
        )
    try:
        _check(found)
    except (KeyError, TypeError, ValueError, AttributeError, RuntimeError) as error:
        raise _damaged(files, f"{BASELINE}: {' '.join(str(error).split())[:300]}") from error
    return found


_LARGEST_BASELINE = 64 << 20


def _check(baseline: Baseline) -> None:
    """Raise ValueError and the like for what is none; somebody may have edited kit and sums."""
    for name in ("machine", "saved", "reason", "by"):
        require(baseline.document[name], str, name)
    require(baseline.state, State, "state")
    require(baseline.gaps, tuple[Gap, ...], "gaps")
    require_own_names(baseline.state)
    for volume in baseline.state.volumes.values():
        for path in volume.files:
            if not path.startswith("\\") or ".." in path.split("\\"):
                raise ValueError(f"{path!r} leads out of its volume")


def _settings(files: Files, sums: dict[str, str]) -> Config | None:
    if SETTINGS not in sums:
        return None
    try:
        return Config.carried(Path(files.name) / SETTINGS, files.read(SETTINGS, _LARGEST_ABOUT))
    except UsageProblem as problem:
        said = (
            f"The settings in the kit {files.name} are none that this bootwatch knows. Nothing was changed."
        )
        raise Problem(
            f"{said}\n{problem.message}",
            f"Use the program that lies in the kit; where that refuses them too, it was edited. {_NEW_ONE}",
        ) from problem


def _damaged(files: Files, why: str) -> Problem:
    return Problem(f"The kit {files.name} is damaged, or was edited: {why}. Nothing was changed.", _NEW_ONE)
