"""Whether values are of the kinds that a dataclass says: for documents that somebody may have edited."""

from __future__ import annotations

import types
from collections.abc import Callable, Mapping
from dataclasses import is_dataclass
from enum import Enum
from functools import cache
from typing import Any, Union, get_args, get_origin, get_type_hints

# What SQLite and every length on a disk can hold.
_LARGEST = (1 << 63) - 1
_WORDS = {str: "a text", int: "a whole number", bool: "true or false", dict: "an object", list: "a list"}


def require(value: object, kind: Any, where: str) -> None:
    """Raise ValueError, in a sentence that begins with ``where``, unless ``value`` is of the annotated kind
    in all its depth. Knows dataclasses, enumerations, tuples of one kind, lists, dictionaries, what may be
    None, and plain types."""
    origin = get_origin(kind)
    if kind is Any:
        return
    if origin in (Union, types.UnionType):
        _require_one(value, get_args(kind), where)
    elif isinstance(kind, type) and is_dataclass(kind):
        _require_instance(value, kind, where)
        for name, own in _hints(kind):
            require(getattr(value, name), own, f"{where}, {name}")
    elif origin in _CONTAINERS:
        _require_instance(value, origin, where)
        _CONTAINERS[origin](value, get_args(kind), where)
    else:
        _require_instance(value, kind, where)


@cache
def _hints(kind: type) -> tuple[tuple[str, Any], ...]:
    return tuple(get_type_hints(kind).items())


def _require_one(value: object, kinds: tuple[Any, ...], where: str) -> None:
    """One of several kinds: what stands beside None is the one that a mistake is told of."""
    if value is None and type(None) in kinds:
        return
    require(value, next(kind for kind in kinds if kind is not type(None)), where)


def _require_items(value: Any, kinds: tuple[Any, ...], where: str) -> None:
    for place, item in enumerate(value, 1):
        require(item, kinds[0], f"{where}, {place}")


def _require_values(value: Any, kinds: tuple[Any, ...], where: str) -> None:
    for name, item in value.items():
        _require_instance(name, kinds[0], where)
        require(item, kinds[1], f"{where}, {name}")


_CONTAINERS: dict[Any, Callable[[Any, tuple[Any, ...], str], None]] = {
    tuple: _require_items,
    list: _require_items,
    dict: _require_values,
    Mapping: _require_values,
}


def _require_instance(value: object, kind: Any, where: str) -> None:
    # To Python, True is a whole number.
    is_right = isinstance(value, kind) and (kind is not int or not isinstance(value, bool))
    if not is_right:
        expected = "one of its words" if issubclass(kind, Enum) else _WORDS.get(kind, "of its kind")
        raise ValueError(f"{where}: this is not {expected}")
    if kind is int and abs(int(value)) > _LARGEST:  # type: ignore[call-overload]
        raise ValueError(f"{where}: this number is too large")
