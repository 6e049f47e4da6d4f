"""FAT volumes through mtools. Paths as the firmware spells them: `\\EFI\\quarry\\loaderx64.efi`."""

from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.firmware import tool


class Volume:
    """Reads and changes files of the FAT file system that begins at `offset` of the raw image."""

    def __init__(self, image: Path, offset: int = 0) -> None:
        self._image = f"{image}@@{offset}"

    def read(self, path: str) -> bytes:
        """The file's content; raises ToolFailed when there is none."""
        return tool.run(["mtype", "-i", self._image, _mtools(path)])

    def write(self, files: Mapping[str, bytes]) -> None:
        """Puts the files in place of what is there, with the folders they need."""
        with TemporaryDirectory(prefix="files.") as folder:
            for path, content in files.items():
                target = Path(folder, *path.strip("\\").split("\\"))
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_bytes(content)
            tops = sorted(Path(folder).iterdir())
            tool.run(["mcopy", "-i", self._image, "-s", "-o", "-Q", *tops, "::/"])

    def remove(self, path: str) -> None:
        """Takes one file away."""
        tool.run(["mdel", "-i", self._image, _mtools(path)])

    def remove_folder(self, path: str) -> None:
        """Takes a folder away with all that is in it."""
        tool.run(["mdeltree", "-i", self._image, _mtools(path)])

    def mark(self, path: str, *attributes: str) -> None:
        """Sets or takes away what FAT says of a file: "+r", "-s" ... (mattrib)"""
        tool.run(["mattrib", "-i", self._image, *attributes, _mtools(path)])

    def list(self) -> list[str]:
        """Every file's path, folders left out."""
        lines = tool.run(["mdir", "-i", self._image, "-s", "-b", "-a", "::/"]).decode().splitlines()
        return sorted(line.removeprefix("::").replace("/", "\\") for line in lines if not line.endswith("/"))


def _mtools(path: str) -> str:
    return "::" + path.replace("\\", "/")


def make_fat(
    image: Path, size: int, *, offset: int = 0, bits: int = 32, label: str = "", serial: str = ""
) -> None:
    """Makes an empty FAT file system of `size` bytes; serial as eight hex digits."""
    options = ["-F", str(bits), *(["-n", label] if label else []), *(["-i", serial] if serial else [])]
    # One sector a cluster: small volumes count as FAT32 too.
    cluster = ["-s", "1"] if bits == 32 and size < 512 << 20 else []
    tool.run(["mkfs.fat", *options, *cluster, f"--offset={offset // 512}", image, str(size // 1024)])
