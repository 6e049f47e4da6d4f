"""Files that a volume itself holds badly: told of volumes that are read straight from their partition."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from bootwatch.formats.fat import Volume
from bootwatch.model.snapshot import Circumstance, Moment
from bootwatch.model.volume import File, Program
from bootwatch.observe import faults
from bootwatch.observe.faults import read_faults
from bootwatch.observe.machine import Machine
from bootwatch.observe.snapshot import observe
from tests.formats import fat_faults
from tests.formats.fat_faults import FAULTS, Sample
from tests.roots import Root

SHARED = {"\\FIRST\\B.EFI": "shares cluster 4 with \\FIRST\\A.EFI"}


def damaged(name: str) -> Sample:
    sample = fat_faults.sound(FAULTS[name].kind)
    FAULTS[name].make(sample)
    return sample


def volume(sample: Sample) -> Volume:
    return Volume(io.BytesIO(sample.maker.data))


def seen(root: Root, sample: Sample) -> Circumstance:
    """What a snapshot holds of a machine whose one disk is the volume, without a table."""
    data = bytes(sample.maker.data)
    root.image("vda").write_bytes(data)
    root.list_disk("vda", len(data), [], 4, False)
    identity = f"fat:{volume(sample).serial}"
    circumstance = observe(Machine(root.folder), Moment.ASKED, named=[identity]).circumstance
    assert list(circumstance.dirty) == [identity]
    return circumstance


def test_snapshot_holds_them_by_volume_and_path(tmp_path: Path) -> None:
    circumstance = seen(Root(tmp_path), damaged("two_files_share_clusters"))
    assert list(circumstance.faults.values()) == [SHARED]
    assert Circumstance.from_json(circumstance.to_json()) == circumstance


def test_sound_volume_has_none(tmp_path: Path) -> None:
    assert seen(Root(tmp_path), fat_faults.sound(16)).faults == {}


def test_what_names_no_file_is_left_out() -> None:
    assert read_faults(volume(damaged("the_fat_copies_differ")), {}) == {}


def test_programs_come_first_where_there_are_many(monkeypatch: pytest.MonkeyPatch) -> None:
    many = {f"\\{number:02}.DAT": "x" * 1000 for number in range(40)}
    monkeypatch.setattr(Volume, "faults", lambda _: {**many, "\\Z.EFI": "empty"})
    files = {"\\Z.EFI": File("\\Z.EFI", 1, "", None, program=Program(0x8664, 10, 1))}
    found = read_faults(volume(fat_faults.sound(12)), files)
    assert list(found) == ["\\Z.EFI", *list(many)[:19]]
    assert {len(text) for text in found.values()} == {5, 400}


def test_volume_that_is_too_large_is_not_looked_through(monkeypatch: pytest.MonkeyPatch) -> None:
    one = damaged("two_files_share_clusters")
    monkeypatch.setattr(faults, "_MOST_CLUSTERS", one.maker.clusters - 1)
    assert read_faults(volume(one), {}) == {}
    monkeypatch.setattr(faults, "_MOST_CLUSTERS", one.maker.clusters)
    assert read_faults(volume(one), {}) == SHARED
