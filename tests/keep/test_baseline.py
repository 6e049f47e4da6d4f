"""The baseline file and the spares."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path
from typing import Any

import pytest
import yaml

from bootwatch.keep import baseline, spares
from bootwatch.model.snapshot import State
from bootwatch.places import Places
from bootwatch.problem import Problem
from bootwatch.service.save import write_baseline
from tests.judge.looks import look
from tests.roots import FERNWICK_LOADER, QUARRY_LOADER, Root, program


def document(parts: dict[str, Any], saved: str = "2026-11-25T07:00:00Z") -> dict[str, Any]:
    return baseline.make_document(
        machine="hall", saved=saved, reason="a test", by="ada", snapshot=3, parts=parts, gaps=[], overview={}
    )


def test_state_comes_back(tmp_path: Path, hall: Root) -> None:
    state = look(hall).state
    path = baseline.save(tmp_path, document(state.parts()))
    loaded = baseline.load(tmp_path)
    assert loaded and loaded.state == state
    assert (loaded.machine, loaded.reason, loaded.by, loaded.snapshot) == ("hall", "a test", "ada", 3)
    assert loaded.digest == hashlib.sha256(path.read_bytes()).hexdigest()


def test_file_is_yaml_that_others_read(tmp_path: Path, hall: Root) -> None:
    parts = look(hall).state.parts()
    read = yaml.safe_load(baseline.save(tmp_path, document(parts)).read_text())
    assert read["format"] == "bootwatch/baseline/1"
    assert read["state"] == parts
    assert list(read) == sorted(read)


def test_header_alone(tmp_path: Path, hall: Root) -> None:
    baseline.save(tmp_path, document(look(hall).state.parts()))
    whole, header = baseline.load(tmp_path), baseline.load_header(tmp_path)
    assert whole and header
    assert (header.saved, header.reason, header.digest) == (whole.saved, whole.reason, whole.digest)
    assert header.state == State()


def test_unpaired_surrogate_in_a_name_comes_back(tmp_path: Path) -> None:
    parts = {"facts": {"\\EFI\\a\ud800b": "x"}}
    baseline.save(tmp_path, document(parts))
    loaded = baseline.load(tmp_path)
    assert loaded and loaded.parts == parts


def test_unknown_keys_are_kept(tmp_path: Path) -> None:
    baseline.save(tmp_path, document({}) | {"note": "from a later version"})
    baseline.save(tmp_path, document({}, saved="2026-11-26T07:00:00Z"))
    loaded = baseline.load(tmp_path)
    assert loaded and loaded.document["note"] == "from a later version"


def test_former_baselines_stay(tmp_path: Path) -> None:
    for reason in ("first", "second", "third"):
        baseline.save(tmp_path, document({}) | {"reason": reason})
    reasons = {yaml.safe_load(path.read_text())["reason"] for path in tmp_path.glob("2026*.yaml")}
    assert reasons == {"first", "second"}
    loaded = baseline.load(tmp_path)
    assert loaded and loaded.reason == "third"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("format: bootwatch/baseline/2\n", "bootwatch/baseline/2"),
        ("format: something/1\n", "is not a baseline"),
        ("[1, 2]\n", "is not a baseline"),
        ("format: bootwatch/baseline/1\n", "lacks machine"),
        ("format: [\n", "is damaged"),
        ("a: !!python/object:os.system x\n", "is damaged"),
    ],
)
def test_refuses_what_it_does_not_know(tmp_path: Path, text: str, says: str) -> None:
    (tmp_path / "current.yaml").write_text(text)
    with pytest.raises(Problem, match=says):
        baseline.load(tmp_path)


def test_cache_is_used_only_for_the_very_file(tmp_path: Path) -> None:
    cache = tmp_path / "cache"
    baseline.save(tmp_path, document({}))
    first = baseline.load(tmp_path, cache, leave=True)
    assert first and [path.stem for path in cache.iterdir()] == [first.digest]
    baseline.save(tmp_path, document({}) | {"reason": "another"})
    second = baseline.load(tmp_path, cache, leave=True)
    assert second and second.reason == "another"
    assert [path.stem for path in cache.iterdir()] == [second.digest]


def test_no_baseline_yet(tmp_path: Path) -> None:
    assert baseline.load(tmp_path) is None


def left(folder: Path, *contents: bytes) -> dict[str, str]:
    folder.mkdir()
    digests = {
        hashlib.sha256(data).hexdigest(): f"\\EFI\\{number}.efi" for number, data in enumerate(contents)
    }
    for digest, data in zip(digests, contents, strict=True):
        (folder / digest).write_bytes(data)
    return digests


def test_spares_are_wanted_of_every_program(hall: Root) -> None:
    hall.put("vda", 1, "\\tools\\memory.efi", program("a tool"))
    wanted = spares.wanted(look(hall).state.parts())
    loaders = (program("fernwick 1"), program("quarry 1"), program("tarn 1"), program("a tool"))
    assert set(wanted) == {hashlib.sha256(data).hexdigest() for data in loaders}
    assert {FERNWICK_LOADER, QUARRY_LOADER} & set(wanted.values())


def test_spares_are_taken_over(tmp_path: Path) -> None:
    digests = left(tmp_path / "left", b"MZ one", b"MZ two")
    assert spares.take_over(tmp_path / "left", tmp_path / "spares", digests) == []
    assert {path.name for path in (tmp_path / "spares").iterdir()} == set(digests)


def test_spare_that_is_not_what_its_name_says_is_refused(tmp_path: Path) -> None:
    digests = left(tmp_path / "left", b"MZ one")
    (tmp_path / "left" / next(iter(digests))).write_bytes(b"MZ something else")
    assert spares.take_over(tmp_path / "left", tmp_path / "spares", digests) == list(digests.values())
    assert list((tmp_path / "spares").iterdir()) == []


@pytest.mark.parametrize("trap", ["link", "pipe"])
def test_spare_behind_a_trap_is_refused(tmp_path: Path, trap: str) -> None:
    digests = left(tmp_path / "left", b"MZ one")
    path = tmp_path / "left" / next(iter(digests))
    path.rename(tmp_path / "elsewhere")
    if trap == "link":
        path.symlink_to(tmp_path / "elsewhere")
    else:
        os.mkfifo(path)
    assert spares.take_over(tmp_path / "left", tmp_path / "spares", digests) == list(digests.values())


def test_damaged_spare_is_replaced(tmp_path: Path) -> None:
    digests = left(tmp_path / "left", b"MZ one")
    (tmp_path / "spares").mkdir()
    (tmp_path / "spares" / next(iter(digests))).write_bytes(b"rotten")
    assert spares.take_over(tmp_path / "left", tmp_path / "spares", digests) == []
    assert (tmp_path / "spares" / next(iter(digests))).read_bytes() == b"MZ one"


def test_one_that_a_failing_disk_keeps_back_is_not_replaced(tmp_path: Path) -> None:
    (tmp_path / "current.yaml").symlink_to("/proc/self/mem")  # reading its beginning gives EIO
    with pytest.raises(baseline.UnreadBaseline, match="Input/output error"):
        baseline.save(tmp_path, document({}))
    assert [path.name for path in tmp_path.iterdir()] == ["current.yaml"]


def test_each_baseline_has_a_number_of_its_own_though_its_line_was_cut_off(tmp_path: Path) -> None:
    places = Places.below(tmp_path)
    write_baseline(places, document({}), "saved by ada")
    baseline.save(places.baseline, document({}, saved="2026-11-26T07:00:00Z"))  # and killed before its line
    assert baseline.serial(places.baseline, "2026-11-26T07:00:00Z") == 2
    write_baseline(places, document({}, saved="2026-11-27T07:00:00Z"), "saved by ada")
    assert baseline.serial(places.baseline, "2026-11-27T07:00:00Z") == 3
    assert (places.baseline / "log").read_text() == (
        "2026-11-25T07:00:00Z baseline saved by ada\n"
        "2026-11-26T07:00:00Z baseline saved by ada: a test (this line was added later)\n"
        "2026-11-27T07:00:00Z baseline saved by ada\n"
    )
