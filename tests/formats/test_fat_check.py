"""What `check` says of each fault, and whether fsck.fat sees it too."""

import io
import re
from pathlib import Path

import pytest

from bootwatch.formats.fat import Volume

from . import fat_faults, volume
from .fat_faults import FAULTS
from .tools import run

# Of these only a folder's list of names suffers.
NAMES = {
    *("two_entries_have_one_name", "a_file_has_no_name", "a_long_name_is_anothers"),
    *("a_long_name_lacks_its_last_part", "a_long_name_has_no_file"),
    *("a_long_name_has_half_a_surrogate_pair", "a_long_name_would_leave_its_folder"),
}


@pytest.mark.parametrize("kind", [12, 16, 32])
def test_a_sound_volume(tmp_path: Path, kind: int) -> None:
    sample = fat_faults.sound(kind)
    image = tmp_path / "volume"
    image.write_bytes(sample.maker.data)
    run("fsck.fat", "-n", image)
    assert volume.clusters(image, "::/FIRST/A.EFI") == [sample.a, sample.a + 1, sample.a + 2]
    assert volume.clusters(image, "::/LAST") == [sample.last]
    assert Volume(io.BytesIO(sample.maker.data)).check() == []


@pytest.mark.parametrize("name", FAULTS)
def test_faults(tmp_path: Path, name: str) -> None:
    fault = FAULTS[name]
    sample = fat_faults.sound(fault.kind)
    fault.make(sample)
    image = tmp_path / "volume"
    image.write_bytes(sample.maker.data)
    if fault.fsck:
        assert re.search(fault.fsck, volume.fsck(image))
    assert Volume(io.BytesIO(sample.maker.data)).check() == fault.said
    # Of files and folders alone: the first sentence of each.
    of_paths = [text.split(": ", 1) for text in fault.said if text.startswith("\\") and name not in NAMES]
    assert Volume(io.BytesIO(sample.maker.data)).faults() == dict(reversed(of_paths))
