"""The baseline: one YAML file, written only by commands that an administrator runs.

``current.yaml`` is the authority; former ones lie beside it, named after the time they were saved. The order
of writing is spares, YAML, a line in ``log``; the file is read back before it replaces the old one.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from bootwatch.keep.canonical import canonical
from bootwatch.keep.files import append_line, write_whole
from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import Part, State
from bootwatch.problem import Problem

FORMAT = "bootwatch/baseline/1"
FILE_NAME = "current.yaml"
_KIND, _, _MAJOR = FORMAT.rpartition("/")


class NewerBaseline(Problem):
    """The file has a format from the future: it is neither read nor replaced."""


class UnreadBaseline(Problem):
    """The file's content didn't come: nothing is known of it, so it isn't replaced."""


@dataclass(frozen=True)
class Baseline:
    """What a person called good. ``digest`` is the SHA-256 of the file it was read from."""

    document: dict[str, Any]
    digest: str

    @property
    def machine(self) -> str:
        return str(self.document["machine"])

    @property
    def saved(self) -> str:
        """When, in UTC."""
        return str(self.document["saved"])

    @property
    def reason(self) -> str:
        return str(self.document["reason"])

    @property
    def by(self) -> str:
        return str(self.document["by"])

    @property
    def snapshot(self) -> int | None:
        """The snapshot that it was made of, None where that is more than one."""
        number = self.document.get("snapshot")
        return number if isinstance(number, int) else None

    @property
    def parts(self) -> dict[str, Part]:
        return dict(self.document["state"])

    @cached_property
    def state(self) -> State:
        return State.from_parts(self.parts)

    @property
    def overview(self) -> dict[str, Any]:
        """What the machine started from when it was saved, in words."""
        return dict(self.document.get("overview") or {})

    @property
    def former(self) -> dict[str, Any] | None:
        """For one that differences were taken over into: ``saved`` and ``reason`` of what it was before, and
        the ids of those differences as ``taken``."""
        found = self.document.get("former")
        if not found:
            return None
        return {"saved": str(found["saved"]), "reason": str(found["reason"]), "taken": list(found["taken"])}

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """What could not be read when it was saved."""
        return tuple(Gap.from_json(item) for item in self.document.get("gaps") or [])


def make_document(
    *,
    machine: str,
    saved: str,
    reason: str,
    by: str,
    snapshot: int | None,
    parts: dict[str, Part],
    gaps: list[Any],
    overview: dict[str, Any],
    former: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """The baseline file's content."""
    return {
        "format": FORMAT,
        "machine": machine,
        "saved": saved,
        "reason": reason,
        "by": by,
        "former": former,
        "snapshot": snapshot,
        "gaps": gaps,
        "overview": overview,
        "state": parts,
    }


def load(folder: Path, cache: Path | None = None, *, leave: bool = False) -> Baseline | None:
    """The current baseline, None where there is none.

    ``cache`` is a folder with its parsed form as JSON under the file's SHA-256; with ``leave`` a new one is
    left there, where that can be written. Raises Problem when the file is damaged or can't be read,
    NewerBaseline when it has a format from the future.
    """
    path = folder / FILE_NAME
    raw = _read_file(path)
    if raw is None:
        return None
    own = hashlib.sha256(raw).hexdigest()
    document = _cached(cache, own)
    if document is None:
        document = parse(raw, path)
        if leave:
            _leave_cached(cache, own, document)
    return _checked(Baseline(document, own), path)


def _checked(baseline: Baseline, path: Path) -> Baseline:
    """A file that a person edited can hold anything; say so here and not in the middle of a comparison."""
    try:
        _ = baseline.state, baseline.gaps, baseline.overview, baseline.former
    except (KeyError, TypeError, ValueError, AttributeError, StopIteration) as error:
        raise Problem(
            f"The baseline {path} is damaged: {type(error).__name__} ({error}) in its state.", _AGAIN
        ) from error
    return baseline


def load_header(folder: Path) -> Baseline | None:
    """The current baseline without its state, which is what takes time to read. Fails as `load` does.

    Its keys are sorted, and the state comes last.
    """
    path = folder / FILE_NAME
    raw = _read_file(path)
    if raw is None:
        return None
    head, found, _ = raw.partition(b"\nstate:")
    document = parse(head + b"\nstate: {}\n" if found else raw, path)
    return _checked(Baseline(document, hashlib.sha256(raw).hexdigest()), path)


def _read_file(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None
    except PermissionError as error:
        raise UnreadBaseline(
            f"The baseline {path} may not be read by you.", "Run the command with sudo."
        ) from error
    except OSError as error:
        raise UnreadBaseline(
            f"The baseline {path} can't be read: {error.strerror}. It was left as it is.", _DISK
        ) from error


def _cached(cache: Path | None, own: str) -> dict[str, Any] | None:
    try:
        return dict(json.loads((cache / f"{own}.json").read_bytes())) if cache else None
    except (OSError, ValueError):
        return None


def _leave_cached(cache: Path | None, own: str, document: dict[str, Any]) -> None:
    if cache is None:
        return
    with contextlib.suppress(OSError):  # it only saves time
        cache.mkdir(mode=0o750, exist_ok=True)
        for old in cache.glob("*.json"):
            old.unlink(missing_ok=True)
        write_whole(cache / f"{own}.json", canonical(document).encode())


def parse(raw: bytes, path: Path) -> dict[str, Any]:
    """What a baseline file holds; ``path`` names it to people. Raises Problem, NewerBaseline."""
    document = _read_yaml(raw, path)
    kind, _, major = (
        str(document.get("format", "")).rpartition("/") if isinstance(document, dict) else ("", "", "")
    )
    if kind != _KIND:
        raise Problem(f"{path} is not a baseline: it doesn't begin with format: {FORMAT}.", _AGAIN)
    if major != _MAJOR:
        raise NewerBaseline(
            f"{path} has the format {kind}/{major}; this bootwatch knows {FORMAT}.",
            "Use the newer bootwatch.",
        )
    missing = [key for key in ("machine", "saved", "reason", "by", "state") if key not in document]
    if missing:
        raise Problem(f"The baseline {path} lacks {', '.join(missing)}.", _AGAIN)
    if not isinstance(document["state"], dict):
        raise Problem(f"The baseline {path} is damaged: its state is none.", _AGAIN)
    return dict(document)


_AGAIN = (
    "Look at it, or at a former baseline beside it. If the machine is known to be good,"
    " save it again: sudo bootwatch baseline save --reason TEXT"
)
_DISK = (
    "Its disk may be failing, for a moment or for good: look at journalctl -k, and try again. If it stays so,"
    " move that file away by hand before a baseline is saved anew."
)


def _read_yaml(raw: bytes, path: Path) -> Any:
    import yaml

    try:
        try:
            return yaml.load(raw, Loader=_without_times(getattr(yaml, "CSafeLoader", yaml.SafeLoader)))
        except yaml.YAMLError:
            # The C library refuses unpaired surrogates, which file names may hold; the slower one takes them.
            return yaml.load(raw, Loader=_without_times(yaml.SafeLoader))
    except (yaml.YAMLError, ValueError, RecursionError) as error:
        line = str(error).replace("\n", " ")
        raise Problem(f"The baseline {path} is damaged: {line}.", _AGAIN) from error


def _without_times(loader: Any) -> Any:
    """A loader that leaves a time without quotes what it is: text."""

    class Loader(loader):  # type: ignore[misc]
        pass

    Loader.add_constructor("tag:yaml.org,2002:timestamp", loader.construct_yaml_str)
    return Loader


def _write_yaml(document: dict[str, Any]) -> bytes:
    import yaml

    try:
        dumper = _without_aliases(getattr(yaml, "CSafeDumper", yaml.SafeDumper))
        text = yaml.dump(document, Dumper=dumper, sort_keys=True, width=110)
    except UnicodeEncodeError:
        dumper = _without_aliases(yaml.SafeDumper)
        text = yaml.dump(document, Dumper=dumper, sort_keys=True, width=110)
    return str(text).encode()


def _without_aliases(dumper: Any) -> Any:
    """A dumper that writes a value anew wherever it stands, since people read the file."""

    class Dumper(dumper):  # type: ignore[misc]
        def ignore_aliases(self, data: Any) -> bool:
            return True

    return Dumper


def save(folder: Path, document: dict[str, Any]) -> Path:
    """Put a new baseline in place; the former one stays beside it. Unknown keys of the former one are kept.

    Raises Problem when what was written doesn't read back the same, NewerBaseline when the former one has a
    format from the future, UnreadBaseline when it can't be read, OSError when the new one can't be written.
    """
    folder.mkdir(mode=0o750, parents=True, exist_ok=True)
    path = folder / FILE_NAME
    former = _former(path)
    if former:
        unknown = {key: value for key, value in former.document.items() if key not in document}
        document = {**unknown, **document}
        write_whole(_free_name(folder, former.saved), path.read_bytes())
    raw = _write_yaml(document)
    if canonical(parse(raw, path)) != canonical(document):
        raise Problem(
            f"The new baseline for {path} doesn't read back as it was written.", "Nothing was changed."
        )
    write_whole(path, raw)
    return path


def _former(path: Path) -> Baseline | None:
    """The baseline that is to be replaced; a damaged one is put aside first. One from the future is not, nor
    one that a failing disk keeps back."""
    try:
        return load(path.parent)
    except (NewerBaseline, UnreadBaseline):
        raise
    except Problem:
        path.replace(_free_name(path.parent, "damaged"))
        return None


def _free_name(folder: Path, saved: str) -> Path:
    """A name for a former baseline that no other one has."""
    stamp = "".join(character for character in saved if character.isalnum() or character in "-")
    path = folder / f"{stamp}.yaml"
    count = 1
    while path.exists():
        count += 1
        path = folder / f"{stamp}-{count}.yaml"
    return path


def is_logged(folder: Path, saved: str) -> bool:
    """Whether the log has the line on the baseline of that time: the last that is written of one. Raises
    OSError."""
    return any(line.startswith(f"{saved} baseline ".encode()) for line in _logged(folder))


def serial(folder: Path, saved: str) -> int:
    """A number that grows with each baseline, for the current one, saved at that time; no clock is asked. It
    counts the log's lines, and one that was cut off as if it were there: `save` adds it. Raises OSError."""
    return len(_logged(folder)) + (not is_logged(folder, saved))


def _logged(folder: Path) -> list[bytes]:
    try:
        return (folder / "log").read_bytes().splitlines()
    except FileNotFoundError:
        return []


def append_log(folder: Path, line: str) -> None:
    """Add one line to the administrator's log; the next reading copies it into the history."""
    append_line(folder / "log", line)
