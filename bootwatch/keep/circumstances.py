"""A circumstance as it is stored: what differs from that of an earlier snapshot, which most share.

Its number of lines is small (`compact`): the earlier one, what is otherwise, moment, time, and "=" with the
boot id. A history of before that holds the whole as one line of JSON.
"""

from __future__ import annotations

import json
from typing import Any, NamedTuple

from bootwatch.keep.canonical import canonical

Document = dict[str, Any]
# Columns of their own.
_OWN = ("boot_id", "moment", "time")
# So much may be otherwise before a circumstance counts as a new one, in characters.
_MOST = 400


class Packed(NamedTuple):
    """The canonical text of the one that is like it, and what is otherwise, "" for nothing."""

    alike: str
    otherwise: str


def packed(circumstance: Document, before: str | None) -> Packed:
    """Held against ``before``, the text that the last one is like; None where there is none."""
    rest = {name: value for name, value in circumstance.items() if name not in _OWN}
    if before is not None:
        otherwise = _difference(json.loads(before), rest)
        if otherwise is not None and len(otherwise) <= _MOST:
            return Packed(before, otherwise)
    return Packed(canonical(rest), "")


def unpacked(stored: str) -> Document:
    """The circumstance. Raises ValueError, TypeError or AttributeError where it is damaged."""
    alike, *others = stored.split("\n", 4)
    rest: Document = json.loads(alike)
    if not others:
        return rest
    otherwise, moment, time, boot = others
    if otherwise:
        values, inner = json.loads(otherwise)
        rest |= values
        for name, (put, dropped) in inner.items():
            rest[name] = {key: value for key, value in rest[name].items() if key not in dropped} | put
    return rest | {"moment": moment, "time": time, "boot_id": boot[1:] if boot else None}


def text_of(stored: str) -> str:
    """Its canonical text, which the chain goes by; damaged, as it is."""
    if "\n" not in stored:
        return stored
    try:
        return canonical(unpacked(stored))
    except (ValueError, TypeError, AttributeError, KeyError):
        return stored


def _difference(before: Document, now: Document) -> str | None:
    """What to change in ``before``; None where it holds what is no longer there."""
    if not before.keys() <= now.keys():
        return None
    values: Document = {}
    inner: dict[str, tuple[Document, list[str]]] = {}
    for name, value in now.items():
        was = before.get(name)
        if was == value and type(was) is type(value) and name in before:
            continue
        if isinstance(was, dict) and isinstance(value, dict) and value:
            put = {key: one for key, one in value.items() if key not in was or was[key] != one}
            inner[name] = put, sorted(was.keys() - value.keys())
        else:
            values[name] = value
    return canonical([values, inner]) if values or inner else ""
