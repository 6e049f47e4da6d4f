"""A snapshot as a file of its own: taken along before an installation, or to another machine.

One JSON document. A person or a hostile hand may have edited it, so each value is checked as it is read back.
"""

from __future__ import annotations

import json
import os
import re
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from bootwatch.keep.conform import require
from bootwatch.keep.files import write_whole
from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import Circumstance, Part, Snapshot, State
from bootwatch.problem import Problem, UsageProblem

FORMAT = "bootwatch/kept-snapshot/1"
# A machine with 100,000 files on its boot volumes needs a fifth of it.
LIMIT = 128 << 20
_KIND, _, _MAJOR = FORMAT.rpartition("/")
_KEYS = ("machine", "number", "circumstance", "gaps", "state")
_TEXT_FACTS = (
    "machine_id",
    "host_name",
    "architecture",
    "vendor",
    "product",
    "firmware_vendor",
    "firmware_version",
    "firmware_date",
)
_FACTS: dict[str, Any] = {
    "firmware_bits": int | None,
    "system": dict[str, str] | None,
    "fstab": list[dict[str, str]] | None,
    **dict.fromkeys(_TEXT_FACTS, str | None),
}
_DESCRIPTOR = re.compile(r"/dev/fd/([0-9]{1,6})")
_MOST = 300  # characters of a file's own that are said again
# It may hold what a boot menu's settings hold, a password for instance.
_MODE = 0o600
_AGAIN = "A snapshot is put into a file by: bootwatch snapshot --to FILE"


@dataclass(frozen=True)
class Kept:
    """A snapshot with the name of its machine; its number is that of the history that recorded it."""

    machine: str
    snapshot: Snapshot

    @property
    def machine_id(self) -> str | None:
        found = self.snapshot.state.facts.get("machine_id")
        return found if isinstance(found, str) else None

    def to_json(self) -> dict[str, Any]:
        snapshot = self.snapshot
        return make_document(
            machine=self.machine,
            number=snapshot.number,
            circumstance=snapshot.circumstance.to_json(),
            gaps=[gap.to_json() for gap in snapshot.gaps],
            parts=snapshot.state.parts(),
        )


def make_document(
    *, machine: str, number: int | None, circumstance: dict[str, Any], gaps: list[Any], parts: dict[str, Part]
) -> dict[str, Any]:
    """The file's content."""
    return {
        "format": FORMAT,
        "machine": machine,
        "number": number,
        "circumstance": circumstance,
        "gaps": gaps,
        "state": parts,
    }


def require_free(path: Path, *, replace: bool) -> None:
    """Raise UsageProblem unless a file can be put at ``path``: nothing is there, or with ``replace`` a plain
    file."""
    try:
        mode = path.lstat().st_mode
    except FileNotFoundError:
        return
    except OSError as error:
        raise UsageProblem(f"{path} can't be written: {error.strerror}.", "Name another file.") from error
    if not stat.S_ISREG(mode):
        raise UsageProblem(f"{path} is there, and it is no plain file.", "Name another file.")
    if not replace:
        raise UsageProblem(f"{path} is there already.", "Name another file, or replace it: add --yes")


def write(path: Path, document: dict[str, Any], *, replace: bool = False) -> None:
    """Put a snapshot's document at ``path``, for its owner alone. Raises Problem when that can't be done."""
    data = json.dumps(document, indent=1, sort_keys=True).encode() + b"\n"
    if len(data) > LIMIT:
        raise Problem(f"The snapshot is too large for a file: {len(data)} bytes, at most {LIMIT} are read.")
    require_free(path, replace=replace)
    try:
        write_whole(path, data, _MODE)
    except OSError as error:
        raise Problem(
            f"{path} can't be written: {error.strerror}.", "Name a file in a folder where you may write."
        ) from error


def open_file(name: str) -> BinaryIO:
    """Open a snapshot file for reading. Raises UsageProblem when it can't be."""
    given = _DESCRIPTOR.fullmatch(name)
    try:
        # Handed over by somebody with the right to open it, which whoever reads need not have.
        return os.fdopen(os.dup(int(given[1])), "rb") if given else Path(name).open("rb")
    except FileNotFoundError as error:
        raise UsageProblem(f"There is no file {name}.", _AGAIN) from error
    except (OSError, ValueError) as error:
        raise _cannot_read(name, error) from error


def read(file: BinaryIO, name: str) -> Kept:
    """The snapshot in an open file; ``name`` is what people call the file. Raises Problem."""
    try:
        data = file.read(LIMIT + 1)
    except OSError as error:
        raise _cannot_read(name, error) from error
    if len(data) > LIMIT:
        raise Problem(f"{name} is larger than any snapshot file.", _AGAIN)
    try:
        document = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise Problem(f"{name} is no snapshot file, or a damaged one: it is not JSON.", _AGAIN) from error
    return _kept(document, name)


def _cannot_read(name: str, error: Exception) -> UsageProblem:
    why = getattr(error, "strerror", None) or "it has no possible name"
    return UsageProblem(f"{name} can't be read: {why}.", "See whether it is a file, and yours to read.")


def _kept(document: Any, name: str) -> Kept:
    said = document.get("format") if isinstance(document, dict) else None
    kind, _, major = said.rpartition("/") if isinstance(said, str) else ("", "", "")
    if kind != _KIND:
        raise Problem(f'{name} is no snapshot file: it doesn\'t say "format": "{FORMAT}".', _AGAIN)
    if major != _MAJOR:
        raise Problem(
            f"{name} has the format {kind}/{major}; this bootwatch knows {FORMAT}.",
            "Use the newer bootwatch.",
        )
    missing = [key for key in _KEYS if key not in document]
    if missing:
        raise _damaged(name, f"it lacks {', '.join(missing)}")
    # And once more as it would be written: what is kept must be readable again.
    return from_document(from_document(document, name).to_json(), name)


def from_document(document: dict[str, Any], name: str) -> Kept:
    """The snapshot of a document, checked; what a later version added is left out. Raises Problem."""
    try:
        circumstance = Circumstance.from_json(document["circumstance"])
        state = State.from_parts(document["state"])
        gaps = tuple(Gap.from_json(item) for item in document["gaps"])
    except (KeyError, TypeError, ValueError, AttributeError, RuntimeError) as error:
        # A gap without a scope ends the generator: RuntimeError. So does too deep a nesting.
        lacks = isinstance(error, KeyError)
        said = f"{error} is missing in it" if lacks else f"something in it is not of its kind ({error})"
        raise _damaged(name, said) from error
    kept = Kept(document["machine"], Snapshot(circumstance, state, gaps, document["number"]))
    try:
        require(kept.machine, str, "machine")
        require(kept.snapshot.number, int | None, "number")
        require(circumstance, Circumstance, "circumstance")
        require(state, State, "state")
        require(gaps, tuple[Gap, ...], "gaps")
        for fact, kind in _FACTS.items():
            require(state.facts.get(fact), kind, f"state, facts, {fact}")
        require_own_names(state)
    except ValueError as error:
        raise _damaged(name, str(error)) from error
    return kept


def require_own_names(state: State) -> None:
    """Each disk and volume must go by the name that it has itself."""
    named = [(name, disk.key) for name, disk in state.disks.items()]
    named += [(name, volume.identity) for name, volume in state.volumes.items()]
    for name, own in named:
        if name != own:
            raise ValueError(f"state, {name}: it calls itself {own}")


def _damaged(name: str, why: str) -> Problem:
    why = " ".join(why.split())[:_MOST]
    return Problem(f"{name} is damaged, or was edited: {why}.", _AGAIN)
