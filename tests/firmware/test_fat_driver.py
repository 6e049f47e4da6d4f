"""Random FAT volumes read by our reader and by the kernel's own driver in the guest: all the same."""

import base64
import hashlib
import json
import zlib
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from bootwatch.formats.fat import Volume
from tests.firmware import base, fat_volumes, tool
from tests.firmware.guest import Guest, Place
from tests.formats.volume import Layout

pytestmark = pytest.mark.firmware

PROGRAM = Path(__file__).parent / "guest_files" / "fat_walk.py"
SEEDS = range(50)


def hand_over(guest: Guest, archive: Path) -> None:
    """Write a file to a partition that nothing in the guest uses: the agent's port is too slow for it."""
    number, partition = Place.QUARRY_DATA.value
    offset, size = base.quarry().place(partition)
    length = archive.stat().st_size
    assert length <= size
    process = guest.process
    process.wait_event(process.monitor, "QMP")
    process.command("qmp_capabilities")
    name = f"virtio{guest.machine.drives[number].unit}"
    line = f'qemu-io {name} "write -s {archive} {offset} {length}"'
    said = process.command("human-monitor-command", **{"command-line": line})
    assert "wrote" in str(said) or not said, said
    guest.check(f"dd if=/dev/vdb{partition} iflag=direct bs=1M status=none | tar -x --sparse -C /root")


def as_the_kernel_sees_it(guest: Guest, images: list[Path], folder: Path) -> dict[str, Any]:
    archive = folder / "volumes.tar"
    names = [image.name for image in images]
    tool.run(["tar", "--sparse", "-C", folder, "-cf", archive, *names])
    # A whole number of sectors.
    with archive.open("r+b") as file:
        file.truncate(-(-archive.stat().st_size // 512) * 512)
    hand_over(guest, archive)
    guest.put("/root/fat_walk.py", PROGRAM.read_bytes())
    shown = guest.check(f"python3 fat_walk.py {' '.join(names)}")
    found: dict[str, Any] = json.loads(zlib.decompress(base64.b64decode(shown)))
    return found


def as_we_see_it(image: Path) -> dict[str, Any]:
    with image.open("rb") as file:
        fat = Volume(file)
        files = {}
        for entry in fat.walk():
            time = datetime.fromisoformat(entry.time).replace(tzinfo=UTC)
            digest = ""
            if not entry.is_folder:
                digest = hashlib.file_digest(fat.open(entry), "sha256").hexdigest()
            path = entry.path.replace("\\", "/")
            files[path] = [entry.size, int(time.timestamp()), digest]
        assert fat.check() == []
        return {"files": files, "free": fat.free_bytes}


def test_random_volumes(guest: Guest, tmp_path: Path) -> None:
    images = [fat_volumes.make(tmp_path, seed) for seed in SEEDS]
    seen = as_the_kernel_sees_it(guest, images, tmp_path)
    assert len(seen) == len(images) >= 50
    for image in images:
        assert as_we_see_it(image) == seen[image.name], image.name
        image.unlink()
    assert sum(len(found["files"]) for found in seen.values()) > 1000


REMOVING = """
truncate -s 8M volume && mkfs.fat -F 16 -s 2 volume && mount -o loop,utf8 volume /mnt && cd /mnt
mkdir -p EFI/Quarry/inner EFI/fernwick
head -c 30000 /dev/urandom > "EFI/Quarry/A Loader of Ours.efi"
head -c 5000 /dev/urandom > EFI/LOADER.EFI
echo kept > EFI/fernwick/kept; echo inner > EFI/Quarry/inner/NOTES.TXT; : > "EFI/Grün ☃"
mkdir /root/copies && cp EFI/Quarry/*.efi EFI/LOADER.EFI /root/copies && sync
rm EFI/LOADER.EFI "EFI/Grün ☃" && rm -r EFI/Quarry && cd / && umount /mnt
cd /root && tar -czf removed.tar.gz --sparse volume copies
"""


def test_what_the_kernel_removed_is_found(guest: Guest, tmp_path: Path) -> None:
    guest.check(REMOVING)
    (tmp_path / "archive").write_bytes(guest.get("/root/removed.tar.gz"))
    tool.run(["tar", "-xzf", tmp_path / "archive", "-C", tmp_path])
    image = tmp_path / "volume"
    with image.open("rb") as file:
        fat = Volume(file)
        assert {entry.path for entry in fat.walk()} == {"\\EFI", "\\EFI\\fernwick", "\\EFI\\fernwick\\kept"}
        found = {each.path: each for each in fat.deleted()}
        assert fat.check() == []
    assert {path: (each.size, each.is_folder, each.recoverable) for path, each in found.items()} == {
        "\\EFI\\?OADER.EFI": (5000, False, True),
        "\\EFI\\Grün ☃": (0, False, True),
        "\\EFI\\Quarry": (0, True, True),
        "\\EFI\\Quarry\\A Loader of Ours.efi": (30_000, False, True),
        "\\EFI\\Quarry\\inner": (0, True, True),
        "\\EFI\\Quarry\\inner\\?OTES.TXT": (6, False, True),
    }
    layout = Layout(image)
    for path, copy in (
        ("\\EFI\\?OADER.EFI", "LOADER.EFI"),
        ("\\EFI\\Quarry\\A Loader of Ours.efi", "A Loader of Ours.efi"),
    ):
        start = layout.offset(found[path].first_cluster)
        content = (tmp_path / "copies" / copy).read_bytes()
        assert image.read_bytes()[start : start + found[path].size] == content
