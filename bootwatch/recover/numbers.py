"""Which number a boot entry gets, and its place in the boot order."""

from __future__ import annotations

import struct
from collections.abc import Collection, Mapping, Sequence

from bootwatch.judge.entries import read_order
from bootwatch.model.snapshot import State
from bootwatch.model.variable import entry_number, split_file_name

# EFI_KEY_OPTION (UEFI 2.10 §3.1.6): key data, CRC-32 of the option, the option's number.
_KEY_OPTION = struct.Struct("<IIH")
_HIGHEST = 0xFFFF


def free_number(state: State, wanted: int, taken: Collection[int] = ()) -> int | None:
    """``wanted`` if nothing has it, else the lowest free one above those that hot keys name: some firmware
    writes over low numbers. None where all are taken. ``taken`` are numbers that are spoken for besides."""
    used = {entry_number(name) for name in state.variables} | set(read_order(state)) | set(taken)
    if wanted not in used:
        return wanted
    first = max(_of_hot_keys(state), default=-1) + 1
    choices = (*range(first, _HIGHEST + 1), *range(first))
    return next((number for number in choices if number not in used), None)


def _of_hot_keys(state: State) -> list[int]:
    found = []
    for name, variable in state.variables.items():
        split = split_file_name(name)
        if split and split[0].startswith("Key") and len(variable.data) >= _KEY_OPTION.size:
            found.append(_KEY_OPTION.unpack_from(variable.data)[2])
    return found


def with_number(order: Sequence[int], number: int, former: Sequence[int]) -> list[int]:
    """``order`` with ``number`` where it belongs: behind the nearest one that came before it in the
    ``former`` order, else before the nearest that came after it, else at the end. Nothing else moves."""
    if number in order:
        return list(order)
    place = former.index(number) if number in former else len(former)
    for other in reversed(former[:place]):
        if other in order:
            return _inserted(order, order.index(other) + 1, number)
    for other in former[place + 1 :]:
        if other in order:
            return _inserted(order, order.index(other), number)
    return [*order, number]


def _inserted(order: Sequence[int], at: int, number: int) -> list[int]:
    return [*order[:at], number, *order[at:]]


def as_before(order: Sequence[int], former: Sequence[int]) -> list[int]:
    """``order`` with those of the ``former`` one in front, as they stood there; all else keeps its own order
    behind them, and nothing is dropped."""
    known = [number for number in former if number in order]
    return known + [number for number in order if number not in known]


def renumbered(former: Sequence[int], places: Mapping[int, int], taken: Collection[int] = ()) -> list[int]:
    """The baseline's order by today's numbers: ``places`` gives today's by the baseline's; others stay, but
    for those that are ``taken`` by other entries today."""
    found = (places.get(number, number) for number in former if number in places or number not in taken)
    return list(dict.fromkeys(found))
