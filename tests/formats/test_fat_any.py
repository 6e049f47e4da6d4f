"""Volumes of every content are read as they were made; of any bytes come values or a FormatError."""

import contextlib
import io

import pytest
from hypothesis import HealthCheck, given, settings

from bootwatch.formats import FormatError
from bootwatch.formats.fat import Volume

from .fat_maker import Maker
from .strategies_fat import Tree, any_volumes, content, removed, well_formed_volumes

FEW = settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))


@pytest.mark.long
@FEW
@given(well_formed_volumes())
def test_well_formed_volumes(made: tuple[Maker, Tree, str]) -> None:
    maker, tree, label = made
    fat = Volume(io.BytesIO(maker.data))
    expected = content(tree)
    entries = {entry.path: entry for entry in fat.walk()}
    assert {path: entry.is_folder for path, entry in entries.items()} == {
        path: data is None for path, data in expected.items()
    }
    for path, data in expected.items():
        if data is not None:
            assert entries[path].size == len(data)
            assert fat.read(path) == data
    assert (fat.label, fat.fat_type, fat.dirty) == (label, maker.kind, False)
    assert fat.check() == []
    assert sorted(each.size for each in fat.deleted()) == sorted(removed(tree))
    assert (fat.damaged_paths, fat.limited_paths) == (set(), set())


@pytest.mark.long
@FEW
@given(any_volumes())
def test_any_volumes(data: bytes) -> None:
    with contextlib.suppress(FormatError):
        fat = Volume(io.BytesIO(data))
        fat.label.encode("utf-8")
        assert fat.free_bytes >= 0
        for entry in fat.walk():
            assert entry.path.encode("utf-8").startswith(b"\\")
            if not entry.is_folder:
                with contextlib.suppress(FormatError):
                    assert len(fat.open(entry).read(4096)) == min(entry.size, 4096)
        for each in fat.deleted():
            each.path.encode("utf-8")
        "".join(fat.check()).encode("utf-8")
        assert fat.limited_paths <= fat.damaged_paths
