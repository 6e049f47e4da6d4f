"""Freshly made device paths: bootwatch's text of them against the firmware's own."""

import time
from pathlib import Path
from random import Random

import pytest

from bootwatch.formats.device_path import DevicePath
from tests.firmware.texts import printed
from tests.formats.made_paths import NODES, make

pytestmark = pytest.mark.firmware


@pytest.mark.parametrize("count", [400, pytest.param(6000, marks=pytest.mark.whole)])
def test_the_firmware_prints_made_paths_the_same_way(tmp_path: Path, count: int) -> None:
    seed = time.time_ns()
    random = Random(seed)
    kinds = list(NODES)
    paths = [make(random, kinds[index % len(kinds)]) for index in range(count)]
    texts = printed(tmp_path, paths)
    differences = [
        (path.hex(), text, ours)
        for path, text in zip(paths, texts, strict=True)
        if (ours := str(DevicePath.parse(path))) != text
    ]
    assert not differences, f"with seed {seed}, {len(differences)} of {count}: {differences[:5]}"
