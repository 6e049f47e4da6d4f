"""Whose key is whose: a list that a person keeps, with lines "KEY NAME" and others that begin with "#"."""

from __future__ import annotations

import base64
import binascii
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from bootwatch.problem import UsageProblem
from bootwatch.rollcall.sighting import NAME
from bootwatch.tell.plain import plain

_MOST = 4 * 1024 * 1024
_KEY_BYTES = 32


@dataclass(frozen=True)
class Known:
    """``names``: by key the machines that may speak with it, shown as they are in a state."""

    names: Mapping[str, frozenset[str]]

    @property
    def machines(self) -> frozenset[str]:
        return frozenset(name for names in self.names.values() for name in names)

    def is_proven(self, key: str | None, name: str) -> bool:
        return key is not None and name in self.names.get(key, frozenset())

    def doubt(self, key: str | None) -> str:
        """Why a part with ``key`` proves nothing."""
        if key is None:
            return "not signed"
        owners = self.names.get(key)
        return (
            f"signed with the key of {', '.join(sorted(owners))}" if owners else "signed with an unknown key"
        )

    @classmethod
    def load(cls, file: Path | None, environment: Mapping[str, str] = os.environ) -> Known:
        """The list in ``file``, or the usual one, which needn't be there. Raises UsageProblem."""
        path = file or usual(environment)
        try:
            with path.open("rb") as opened:
                data = opened.read(_MOST + 1)
        except FileNotFoundError:
            if file is None:
                return cls({})
            raise UsageProblem(f"There is no {path}.", "It holds a line for each machine: KEY NAME") from None
        except OSError as error:
            raise UsageProblem(f"{path} can't be read: {error.strerror}.") from error
        if len(data) > _MOST:
            raise UsageProblem(f"{path} is too large for a list of machines.")
        return cls(_names(data.decode("utf-8-sig", "replace"), path))


def usual(environment: Mapping[str, str] = os.environ) -> Path:
    """Where the list lies unless another is named."""
    folder = environment.get("XDG_CONFIG_HOME") or str(Path(environment.get("HOME", "/")) / ".config")
    return Path(folder) / "bootwatch/machines"


def _names(text: str, path: Path) -> dict[str, frozenset[str]]:
    names: dict[str, set[str]] = {}
    for number, line in enumerate(text.splitlines(), 1):
        stripped = line.strip()
        if not stripped or stripped.startswith("#"):
            continue
        key, name = (*stripped.split(None, 1), "")[:2]
        shown = plain(name, NAME)
        if not _is_key(key) or not shown:
            raise UsageProblem(
                f"{path}, line {number}: that is no key with a name behind it.",
                'Each line is KEY NAME, as "bootwatch rollcall SOURCE --keys" prints it.',
            )
        names.setdefault(key, set()).add(shown)
    return {key: frozenset(found) for key, found in names.items()}


def _is_key(text: str) -> bool:
    """Spelled in the one way in which keys are shown."""
    try:
        data = base64.b64decode(text.encode("ascii"), validate=True)
    except (binascii.Error, UnicodeEncodeError):
        return False
    return len(data) == _KEY_BYTES and base64.b64encode(data).decode("ascii") == text
