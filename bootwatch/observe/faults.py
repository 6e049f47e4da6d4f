"""Files and folders that a FAT volume itself holds badly, though they may read well."""

from __future__ import annotations

from collections.abc import Mapping

from bootwatch.formats.fat import Volume as FatVolume
from bootwatch.model.volume import File

_MOST = 20
_LONGEST = 400
# Following all chains takes 7 ms on a volume of 5,000 files, 50 ms on one with two million clusters in use:
# little beside reading what they hold. But it takes a byte of memory for each cluster. This is 16 GB in
# clusters of 4 KiB; boot volumes are far below.
_MOST_CLUSTERS = 4 << 20


def read_faults(volume: FatVolume, files: Mapping[str, File]) -> dict[str, str]:
    """What is wrong, by path; ``files`` is what the volume was found to hold. Programs come first where there
    are more than 20, else in the order of their paths. OSError passes through.
    """
    if volume.capacity // volume.cluster_size > _MOST_CLUSTERS:
        return {}
    found = volume.faults()
    programs = {path for path, file in files.items() if file.program}
    paths = sorted(found, key=lambda path: (path not in programs, path))
    return {path: found[path][:_LONGEST] for path in paths[:_MOST]}
