"""The machine that the benches read: two boot volumes, 300 files, 260 MB.

As they lie on a PC with two systems, by size: the first volume holds one system's kernels and initrds (two
versions), its loaders and its menu's settings; the second the other system's loaders, their texts in many
languages, its fonts, and a firmware update. Programs (files that begin with MZ) are 28 of the 260 MB; with
``programs=True`` the initrds are part of the kernels (unified kernel images), so that all that is large is a
program. Contents are random bytes by a seed: no two files share a block.
"""

from __future__ import annotations

import hashlib
import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from tests.formats.tools import run
from tests.roots import (
    DEFAULT_LOADER,
    FERNWICK_ESP,
    FERNWICK_LOADER,
    QUARRY_ESP,
    QUARRY_LOADER,
    Part,
    Root,
    program,
)

_MIB = 1 << 20
FILES, BYTES = 300, 260_000_000
_MEGABYTES = 320
_LANGUAGES = 80


@dataclass
class Tree:
    """Folders that hold what lies on the two volumes, and the machine roots made of them."""

    folder: Path
    programs: bool = False
    files: list[Path] = field(default_factory=list)

    def volume(self, name: str) -> Path:
        return self.folder / "volumes" / name


def build_tree(folder: Path, *, programs: bool = False) -> Tree:
    """Write the files of both volumes into plain folders."""
    tree = Tree(folder, programs)
    left = BYTES
    for volume, path, data in _contents(programs):
        left -= len(data)
        tree.files.append(_write(tree.volume(volume), path, data))
    rest = FILES - len(tree.files)
    for number in range(rest):
        size = left // rest if number < rest - 1 else left - left // rest * (rest - 1)
        path = f"\\EFI\\quarry\\resources\\picture{number}.bin"
        tree.files.append(_write(tree.volume("quarry"), path, _bytes(path, size)))
    return tree


def _contents(programs: bool) -> Iterator[tuple[str, str, bytes]]:
    """Volume, path and content of all files but the pictures, which make up the rest."""
    loader = program("fernwick 1", 1 * _MIB) + _bytes("loader", _MIB // 2)
    yield "fernwick", FERNWICK_LOADER, loader
    yield "fernwick", DEFAULT_LOADER, loader
    for version in ("6.1.0-21", "6.1.0-22"):
        kernel = program(f"kernel {version}", 9 * _MIB)
        initrd = _bytes(f"initrd {version}", 90 * _MIB)
        if programs:
            yield "fernwick", f"\\EFI\\Linux\\fernwick-{version}.efi", kernel + initrd
        else:
            yield "fernwick", f"\\fernwick\\{version}\\linux", kernel
            yield "fernwick", f"\\fernwick\\{version}\\initrd", initrd
        entry = f"title Fernwick Linux\nlinux /fernwick/{version}/linux\ninitrd /fernwick/{version}/initrd\n"
        yield "fernwick", f"\\loader\\entries\\fernwick-{version}.conf", entry.encode()
    yield "fernwick", "\\loader\\loader.conf", b"timeout 5\n"
    quarry = program("quarry 1", 1 * _MIB) + _bytes("quarry", _MIB)
    yield "quarry", QUARRY_LOADER, quarry
    for number in range(_LANGUAGES):
        words = program(f"words {number}", 40 << 10)
        yield "quarry", f"\\EFI\\quarry\\language-{number}\\startx64.words", words
    for number in range(12):
        yield "quarry", f"\\EFI\\quarry\\fonts\\font{number}.ttf", _bytes(f"font {number}", 1 * _MIB)
    yield "quarry", "\\EFI\\quarry\\update\\firmware.cap", _bytes("update", 16 * _MIB)


def _bytes(name: str, size: int) -> bytes:
    """Never a program, never a text."""
    seed = int.from_bytes(hashlib.sha256(name.encode()).digest())
    return b"\0" + random.Random(seed).randbytes(max(0, size - 1)) if size else b""


def _write(top: Path, path: str, data: bytes) -> Path:
    target = top.joinpath(*path.strip("\\").split("\\"))
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(data)
    return target


def build_root(tree: Tree, folder: Path, *, mounted: bool) -> Root:
    """A machine root. ``mounted``: the mount table says where both volumes are, and they are read there."""
    root = Root(folder)
    for slot, (name, guid) in enumerate((("fernwick", FERNWICK_ESP), ("quarry", QUARRY_ESP)), 4):
        disk = f"vd{chr(ord('a') + slot - 4)}"
        root.disk(disk, [Part(guid, megabytes=_MEGABYTES)], slot=slot)
        image = f"{root.image(disk)}@@1M"
        run("mcopy", "-s", "-Q", "-m", "-i", image, *sorted(tree.volume(name).iterdir()), "::/")
    root.entry(0, "Fernwick Linux", FERNWICK_ESP, FERNWICK_LOADER)
    root.entry(1, "Quarry", QUARRY_ESP, QUARRY_LOADER, data=b"QRY1")
    root.order(0, 1)
    if mounted:
        _mount(tree, root)
    return root


def _mount(tree: Tree, root: Root) -> None:
    lines = ["1 1 8:2 / / rw - ext4 /dev/vdz2 rw"]
    for number, name, place in ((65, "fernwick", "boot/efi"), (81, "quarry", "boot/quarry")):
        target = root.folder / place
        target.parent.mkdir(parents=True, exist_ok=True)
        run("cp", "-a", tree.volume(name), target)
        disk = "vda1" if name == "fernwick" else "vdb1"
        lines.append(f"{number} 1 254:{number} / /{place} rw - vfat /dev/{disk} rw")
    root.write("proc/self/mountinfo", "\n".join(lines))
