"""Machines kept with their disks, so that looking at them is replayed too. One archive; of each disk the
blocks that are not zero."""

import json
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from bootwatch.model.snapshot import Snapshot
from tests.firmware.image import Format, Image
from tests.firmware.programs import Architecture
from tests.firmware.starts.places import PLACES, Place
from tests.firmware.starts.recordings import SAMPLES
from tests.firmware.starts.root import look
from tests.firmware.starts.start import Result
from tests.firmware.starts.trial import Trial
from tests.formats.blocks import Blocks

ARCHIVE = SAMPLES / "images.zip"
_TRIAL = "trial.json"
_EPOCH = (1980, 1, 1, 0, 0, 0)  # the same bytes make the same archive


@dataclass(frozen=True)
class Kept:
    """One machine in the archive."""

    seed: int
    architecture: Architecture
    result: Result
    variables: dict[str, bytes]
    disks: dict[Place, Blocks]

    @classmethod
    def of(cls, trial: Trial) -> "Kept":
        """The machine as it is, then started."""
        with trial.machine.variables() as variables:
            before = variables.efivars()
        disks = {place: Blocks.of(image.path.read_bytes()) for place, image in trial.images.items()}
        configuration = trial.configuration
        return cls(configuration.seed, configuration.architecture, trial.start(), before, disks)

    def look(self, folder: Path) -> Snapshot:
        """What bootwatch sees of it now."""
        images = {
            place: Image(blocks.expand(folder / f"{place.name}.raw"), Format.RAW)
            for place, blocks in self.disks.items()
        }
        return look(folder / "root", images, self.variables, self.architecture)


def write(machines: list[Kept]) -> Path:
    """Makes the archive anew."""
    ARCHIVE.parent.mkdir(exist_ok=True)
    with zipfile.ZipFile(ARCHIVE, "w", zipfile.ZIP_LZMA) as archive:
        for one in machines:
            document = {
                "architecture": one.architecture,
                "result": one.result.to_json(),
                "variables": {name: value.hex() for name, value in sorted(one.variables.items())},
            }
            _add(archive, f"{one.seed}/{_TRIAL}", json.dumps(document, ensure_ascii=False).encode())
            for place, blocks in one.disks.items():
                _add(archive, f"{one.seed}/{place.name}", blocks.pack())
    return ARCHIVE


def _add(archive: zipfile.ZipFile, name: str, content: bytes) -> None:
    archive.writestr(zipfile.ZipInfo(name, _EPOCH), content, zipfile.ZIP_LZMA)


@contextmanager
def opened() -> Iterator[zipfile.ZipFile]:
    with zipfile.ZipFile(ARCHIVE) as archive:
        yield archive


def seeds() -> list[int]:
    """Which machines the archive holds."""
    with opened() as archive:
        return sorted({int(name.partition("/")[0]) for name in archive.namelist()})


def read(seed: int) -> Kept:
    """One machine."""
    by_name = {place.name: place for place in PLACES}
    with opened() as archive:
        document = json.loads(archive.read(f"{seed}/{_TRIAL}"))
        names = [name.partition("/")[2] for name in archive.namelist() if name.startswith(f"{seed}/")]
        disks = {
            by_name[name]: Blocks.unpack(archive.read(f"{seed}/{name}")) for name in names if name != _TRIAL
        }
    return Kept(
        seed,
        Architecture(document["architecture"]),
        Result.from_json(document["result"]),
        {name: bytes.fromhex(value) for name, value in document["variables"].items()},
        disks,
    )
