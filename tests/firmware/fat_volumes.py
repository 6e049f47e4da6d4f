"""Random FAT volumes for the kernel's driver, made by mkfs.fat and mtools as people and systems make them:
filled, thinned out, overwritten, filled again."""

import os
import random
import shutil
from pathlib import Path

from tests.formats.tools import blank, run

# Type, bytes a sector, sectors a cluster, KiB.
SHAPES = [
    *(
        (12, sector, per_cluster, 4 * sector - 100)
        for sector in (512, 1024, 2048, 4096)
        for per_cluster in (1, 4)
    ),
    *((16, sector, 1, 20 * sector) for sector in (512, 1024, 2048, 4096)),
    *((16, sector, 65536 // sector, 400_000) for sector in (512, 2048, 4096)),
    *((32, sector, 1, 70 * sector) for sector in (512, 1024, 2048, 4096)),
    (32, 512, 8, 300_000),
    (32, 512, 128, 4_600_000),
]
LABELS = ["", "FERNWICK", "A B", "QUARRY-1"]
SYLLABLES = [
    "fern",
    "wick",
    "lo",
    "ader",
    "x64",
    "Boot",
    "GRÜN",
    "süß",
    "é",
    "Łódź",
    "☃",
    "картина",
    "漢字",
    " ",
    ".",
]
ENDINGS = ["", ".efi", ".EFI", ".Conf", ".conf.old", ".tar.gz", ".ñ"]
# 1980 to 2099, in seconds.
FIRST, LAST = 315_532_800, 4_102_444_798


class Chance(random.Random):
    """What a volume may hold, by a seed."""

    def name(self) -> str:
        kind = self.random()
        if kind < 0.35:
            base = "".join(self.choices("ABCDEFGHJKLMNPQRSTUVWXYZ0123456789_-", k=self.randint(1, 8)))
            name = base + self.choice(["", ".EFI", ".TXT", ".C"])
            return self.choice([name, name.lower(), name.partition(".")[0] + name[len(base) :].lower()])
        if kind < 0.45:
            return self.choice("xyz") * self.randint(100, 250) + str(self.randrange(1000))
        middle = "".join(self.choices(SYLLABLES, k=self.randint(1, 5))).strip(" .")
        return (middle or "name") + str(self.randrange(1000)) + self.choice(ENDINGS)

    def content(self, cluster: int) -> bytes:
        """Most are small; some end just before, at and after a cluster's end."""
        size = self.choice([0, 1, self.randrange(3000), self.randrange(30_000)])
        if cluster <= 8192 and self.random() < 0.4:
            size = max(0, cluster * self.randint(1, 3) + self.randint(-1, 1))
        return self.randbytes(size)

    def time(self) -> int:
        return self.randrange(FIRST, LAST, 2)


def make(folder: Path, seed: int) -> Path:
    """One volume, as a sparse file in the folder."""
    chance = Chance(seed)
    kind, sector, per_cluster, kib = SHAPES[seed % len(SHAPES)]
    image = blank(folder / f"volume{seed}", kib << 10)
    options = ["-F", kind, "-S", sector, "-s", per_cluster, "-i", f"{chance.getrandbits(32):08x}"]
    label = chance.choice(LABELS)
    run("mkfs.fat", *map(str, options), *(["-n", label] if label else []), image)
    tree = folder / f"tree{seed}"
    places = [Path()]
    for _ in range(3):
        _fill(chance, tree, places, sector * per_cluster)
        run("mcopy", "-s", "-m", "-o", "-Q", "-i", image, *sorted(tree.iterdir()), "::/")
        _thin_out(chance, tree, image)
    shutil.rmtree(tree)
    return image


def _fill(chance: Chance, tree: Path, places: list[Path], cluster: int) -> None:
    """More folders and files, and other content for some; each name once, whatever its case."""
    for _ in range(chance.randint(1, 3)):
        place = chance.choice(places) / chance.name()
        if len(place.parts) < 5 and _is_free(tree / place):
            (tree / place).mkdir(parents=True)
            places.append(place)
    for _ in range(chance.randint(4, 14)):
        path = tree / chance.choice(places) / chance.name()
        path.parent.mkdir(parents=True, exist_ok=True)
        if _is_free(path):
            path.write_bytes(chance.content(cluster))
    files = sorted(path for path in tree.rglob("*") if path.is_file())
    for path in chance.sample(files, len(files) // 4):
        path.write_bytes(chance.content(cluster))
    for path in sorted(tree.rglob("*"), reverse=True):
        os.utime(path, (0, chance.time()))


def _is_free(path: Path) -> bool:
    return not path.parent.is_dir() or path.name.casefold() not in {
        other.name.casefold() for other in path.parent.iterdir()
    }


def _thin_out(chance: Chance, tree: Path, image: Path) -> None:
    """Remove a few files: what comes next lies in pieces in their place."""
    files = sorted(path for path in tree.rglob("*") if path.is_file())
    gone = chance.sample(files, len(files) // 4)
    for path in gone:
        run("mdel", "-i", image, f"::/{path.relative_to(tree)}")
        path.unlink()
