"""FAT volumes for the tests: made by mkfs.fat, filled and read back by mtools."""

import re
from pathlib import Path

from bootwatch.formats.fat import Volume

from .tools import patch, run


def make(image: Path, fat_type: int, kib: int, *options: str) -> Path:
    """A fresh volume. One sector a cluster, unless `options` say otherwise: then damage is easy to place."""
    per_cluster = [] if "-s" in options else ["-s", "1"]
    run("mkfs.fat", "-F", str(fat_type), *per_cluster, *options, "-C", image, str(kib))
    return image


def copy_in(image: Path, sources: list[Path], target: str = "::/") -> None:
    run("mcopy", "-s", "-m", "-Q", "-i", image, *sources, target)


def listing(image: Path) -> list[str]:
    """Every path as mtools lists it, sorted, with backslashes; folders end in one."""
    lines = run("mdir", "-a", "-/", "-b", "-i", image, "::/").splitlines()
    return sorted(line.removeprefix("::").replace("/", "\\") for line in lines if line)


def fsck(image: Path) -> str:
    """What fsck.fat finds, changing nothing."""
    return run("fsck.fat", "-n", "-v", image, statuses=(0, 1))


def clusters(image: Path, path: str) -> list[int]:
    """A file's or folder's cluster chain, as mtools follows it."""
    spans = re.findall(r"[<\s](\d+)(?:-(\d+))?(?=[>\s])", run("mshowfat", "-i", image, path))
    return [number for first, last in spans for number in range(int(first), int(last or first) + 1)]


class Layout:
    """Where things lie on a volume, worked out from what minfo says: independent of the reader under test."""

    def __init__(self, image: Path) -> None:
        self.image = image
        text = run("minfo", "-i", image, "::")
        self.sector = self._number(text, r"sector size: (\d+)")
        self.cluster = self._number(text, r"cluster size: (\d+)") * self.sector
        fat_sectors = self._number(text, r"sectors per fat: (\d+)") or self._number(text, r"Big fatlen=(\d+)")
        self.fat = self._number(text, r"reserved \(boot\) sectors: (\d+)") * self.sector
        root = self._number(text, r"max available root directory slots: (\d+)")
        self.root = self.fat + self._number(text, r"fats: (\d+)") * fat_sectors * self.sector
        self.data = self.root + root * 32
        self.kind = self._number(text, r'disk type="FAT(\d+)')

    @staticmethod
    def _number(text: str, pattern: str) -> int:
        found = re.search(pattern, text)
        if found is None:
            raise LookupError(f"minfo says nothing of {pattern}")
        return int(found[1])

    def offset(self, cluster: int) -> int:
        return self.data + (cluster - 2) * self.cluster

    def link(self, cluster: int, value: int) -> None:
        """Write one entry of the first FAT."""
        width = self.kind // 8
        patch(self.image, self.fat + cluster * width, value.to_bytes(width, "little"))


def walk(image: Path) -> tuple[list[str], Volume]:
    """Every path that the reader lists, as `listing` has them."""
    with image.open("rb") as file:
        volume = Volume(file)
        paths = [entry.path + ("\\" if entry.is_folder else "") for entry in volume.walk()]
    return sorted(paths), volume
