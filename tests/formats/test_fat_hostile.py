"""What a hostile volume can cost, counted in bytes read, entries and memory: a clock would lie on a busy
machine. With these counts none of them takes a second.

Real volumes stay below all limits (test_fat_sizes.py); what lies beyond one is named and never looks absent.
"""

import subprocess
import sys
from pathlib import Path

import pytest

from bootwatch.formats import FormatError
from bootwatch.formats.fat import Volume
from bootwatch.formats.fat_limit import MAX_ENTRIES, MAX_FOLDERS, MAX_PATH, MAX_SLOTS, OverLimit

from . import fat_hostile
from .fat_hostile import HOSTILE, Reader
from .fat_maker import Maker

MOST_READ = 32 << 20
# The others take longer than the quick tier has time for.
DEAREST = {
    "folders_that_share_folders",
    "folders_that_share_parts_of_names",
    "folders_that_share_files_dear_to_spell",
}


@pytest.fixture(
    scope="module",
    params=[pytest.param(name, marks=[] if name in DEAREST else pytest.mark.long) for name in HOSTILE],
)
def hostile(request: pytest.FixtureRequest) -> Maker:
    maker = HOSTILE[request.param]()
    assert len(maker.data) <= 16 << 20
    return maker


@pytest.mark.long
def test_walking(hostile: Maker) -> None:
    reader = Reader(hostile)
    fat = Volume(reader)
    entries = list(fat.walk())
    assert reader.bytes <= MOST_READ
    assert len(entries) <= MAX_ENTRIES + 1024
    assert sum(len(entry.path) for entry in entries) < 32 << 20
    folders = {entry.path for entry in entries if entry.is_folder}
    assert fat.damaged_paths <= folders | {"\\"}
    assert fat.limited_paths
    assert any(problem.startswith("limit: ") for problem in fat.problems)


@pytest.mark.long
def test_looking_for_a_path(hostile: Maker) -> None:
    """A path as deep as firmware can store, through the folders that cost most."""
    reader = Reader(hostile)
    fat = Volume(reader)
    for folder in ("\\A", "\\00000000", "\\00019999"):
        with pytest.raises((FormatError, FileNotFoundError)):
            fat.find(folder * 3000 + "\\absent")
    assert reader.bytes <= MOST_READ


@pytest.mark.long
def test_removed_files(hostile: Maker) -> None:
    reader = Reader(hostile)
    found = list(Volume(reader).deleted())
    assert len(found) <= MAX_ENTRIES + 1
    assert reader.bytes <= 2 * MOST_READ


@pytest.mark.long
def test_checking(hostile: Maker) -> None:
    reader = Reader(hostile)
    said = Volume(reader).check()
    assert said
    assert len(said) <= 2010
    assert reader.bytes <= 2 * MOST_READ


@pytest.mark.long
def test_which_limit_ends_it() -> None:
    for make, limit in (
        (fat_hostile.folders_that_fan_out, f"more than {MAX_FOLDERS} folders"),
        (fat_hostile.folders_that_nest, f"longer than {MAX_PATH} characters"),
        (fat_hostile.folders_that_share_files, f"more than {MAX_ENTRIES} files"),
        (fat_hostile.folders_that_share_removed_files, f"more than {MAX_SLOTS} slots"),
    ):
        fat = Volume(Reader(make()))
        list(fat.walk())
        assert limit in fat.problems[0]


def test_a_limit_is_that_of_one_question() -> None:
    """What a walk did not get to can still be asked for by its path."""
    fat = Volume(Reader(fat_hostile.folders_that_fan_out()))
    folders = [entry.path for entry in fat.walk()]
    assert len(fat.limited_paths) == len(folders) - MAX_FOLDERS + 1
    last = folders[-1]
    assert last in fat.limited_paths
    with pytest.raises(FileNotFoundError):
        fat.find(last + "\\absent")


@pytest.mark.long
def test_a_chain_that_jumps_at_every_cluster() -> None:
    reader = Reader(fat_hostile.a_file_in_a_million_pieces())
    fat = Volume(reader)
    with fat.open("\\PIECES.BIN") as file:
        file.seek(-1, 2)
        with pytest.raises(OverLimit, match="in more than 32768 pieces"):
            file.read(1)
        assert reader.reads < 100_000
        file.seek(0)
        assert len(file.read(10 * 4096)) == 10 * 4096
    assert any("in more than" in problem for problem in fat.check())


@pytest.mark.long
def test_removed_files_that_claim_everything() -> None:
    reader = Reader(fat_hostile.removed_files_of_4_gib())
    found = list(Volume(reader).deleted())
    assert len(found) == 65_000
    assert {each.recoverable for each in found} == {True, None}
    assert reader.bytes <= 512 << 20


PROGRAM = """
import resource, sys
from bootwatch.formats.fat import Volume
volume = Volume(open(sys.argv[1], "rb"))
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
kept = list(volume.walk()), list(volume.deleted()), volume.check()
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
"""


@pytest.mark.long
def test_memory(tmp_path: Path, hostile: Maker) -> None:
    """All that is found, kept at once: less than 100 MB."""
    image = tmp_path / "volume"
    image.write_bytes(hostile.data)
    command = [sys.executable, "-c", PROGRAM, str(image)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True)
    assert int(done.stdout) * 1024 < 100_000_000
