"""What a rehearsal costs on machines that nobody has."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator

import pytest

from bootwatch.judge.rehearsal import rehearse
from bootwatch.judge.systems import Systems
from bootwatch.model.snapshot import State
from tests.judge.dual import ATTIC, ENTRIES, HALL, ON_ATTIC, ON_HALL
from tests.judge.paths import drive, file, option
from tests.judge.states import (
    FERNWICK,
    FERNWICK_PART,
    disk,
    program,
    state,
    text,
)
from tests.pace import Stopwatch

pytestmark = pytest.mark.long

_SECONDS = 2
_STORE = 65_536
_FILES = 20_000


def entries(paths: Iterator[str]) -> dict[int, bytes]:
    return {n: option(f"Entry {n}", drive(FERNWICK_PART), file(path)) for n, path in enumerate(paths)}


def one_loader() -> State:
    known = entries(FERNWICK for _ in range(_STORE))
    return state(((HALL, 1, ON_HALL), (ATTIC, 1, ON_ATTIC)), entries=known, order=tuple(range(32_000)))


def dead_entries() -> State:
    known = entries(f"\\EFI\\gone\\{number}.efi" for number in range(_STORE)) | ENTRIES
    return state(((HALL, 1, ON_HALL), (ATTIC, 1, ON_ATTIC)), entries=known, order=tuple(range(32_000)))


def many_loaders() -> State:
    hall = {f"\\EFI\\s{number}\\l.efi": program(str(number)) for number in range(_FILES)}
    known = entries(f"\\EFI\\s{number % _FILES}\\l.efi" for number in range(_STORE))
    return state(((HALL, 1, hall), (ATTIC, 1, ON_ATTIC)), entries=known, order=tuple(range(32_000)))


def many_files() -> State:
    hall = {**ON_HALL, **{f"\\EFI\\fernwick\\{n}.conf": text(str(n)) for n in range(_FILES)}}
    return state(((HALL, 1, hall), (ATTIC, 1, ON_ATTIC)), entries=ENTRIES, order=(0, 1))


def many_partitions() -> State:
    guids = [str(uuid.UUID(int=number + 1)) for number in range(128)]
    wide = disk("wide", *guids)
    volumes = [(wide, n + 1, {f"\\EFI\\s{n}\\l.efi": program(f"s{n}")}) for n in range(128)]
    known = {
        n: option(f"S {n}", drive(guid, n + 1), file(f"\\EFI\\s{n}\\l.efi")) for n, guid in enumerate(guids)
    }
    return state(volumes, entries=known, order=tuple(range(128)))


@pytest.mark.parametrize("make", [one_loader, dead_entries, many_loaders, many_files, many_partitions])
def test_it_ends_soon_and_says_what_it_left_out(make: Callable[[], State]) -> None:
    one = make()
    systems = Systems.learn([one])
    watch = Stopwatch()
    found = rehearse(one, (), systems, next(iter(systems.all()), None))
    assert watch.seconds() < _SECONDS
    assert found.losses
    assert found.limits or make is many_files
