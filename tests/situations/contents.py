"""What situations write of a file, and the file that stands for it.

``program NAME`` is an EFI application, ``data NAME`` anything else, ``empty`` a file without content; equal
names are equal content. A value of several lines is a text, kept word for word. ``{program: NAME, ...}`` says
more of a program: ``reads`` names that stand in it, ``calls itself`` its version resource, ``sections``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from bootwatch.model.path import fold
from bootwatch.model.volume import File
from tests.judge import states

_SIZES = {"program": 1_400_000, "data": 60_000_000}
_UNITS = {"KiB": 1 << 10, "MiB": 1 << 20, "GiB": 1 << 30}


@dataclass
class Shelf:
    """The files of one volume as a situation names them: what is said of each, by its path as spelled."""

    said: dict[str, Any] = field(default_factory=dict)

    def change(self, path: str, value: Any) -> None:
        """``gone``, ``renamed to PATH``, or what the file now holds. Raises ValueError for one not there."""
        own = next((one for one in self.said if fold(one) == fold(path)), None)
        if value == "gone" or str(value).startswith("renamed to "):
            if own is None:
                raise ValueError(f"there is no file {path}")
            held = self.said.pop(own)
            if value != "gone":
                self.said[str(value).removeprefix("renamed to ")] = held
            return
        self.said[own or path] = value

    def files(self) -> dict[str, File]:
        """The files at their paths, with the folders above them."""
        return states.files({path: _file(value) for path, value in self.said.items()})

    def texts(self) -> dict[str, bytes]:
        """The texts among them by their SHA-256."""
        return {states.digest(value): value.encode() for value in self.said.values() if _is_text(value)}


def _is_text(value: Any) -> bool:
    return isinstance(value, str) and "\n" in value


def _file(value: Any) -> File:
    if isinstance(value, Mapping):
        return _program(dict(value))
    if _is_text(value):
        return states.text(value, len(value))
    if value == "empty":
        return states.text("", 0)
    kind, _, name = str(value).partition(" ")
    if kind not in _SIZES or not name:
        raise ValueError(f"{value!r} is none of: program NAME, data NAME, empty, gone, renamed to PATH")
    return _program({"program": name}) if kind == "program" else states.text(name, _SIZES[kind])


def _program(said: dict[str, Any]) -> File:
    size = said.pop("bytes", _SIZES["program"])
    declared = said.pop("declares", size)
    made = states.program(said.pop("program"), size=size, declared=declared)
    reads, names = tuple(said.pop("reads", ())), dict(said.pop("calls itself", {}))
    sections = tuple(said.pop("sections", ()))
    if said:
        raise ValueError(f"nothing is known of {', '.join(said)} of a program")
    assert made.program
    program = replace(made.program, mentions=reads, names=names, sections=sections)
    return replace(made, program=program)


def size(text: Any) -> int:
    """Bytes: a number, or one with KiB, MiB or GiB behind it."""
    number, _, unit = str(text).partition(" ")
    return int(float(number) * _UNITS[unit]) if unit else int(number)
