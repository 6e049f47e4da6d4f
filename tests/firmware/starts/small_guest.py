"""The smallest guest that shows how its kernel sees disks: Debian's kernel for AArch64 and a shell, from the
archive straight into a RAM disk. Nothing of it runs on the host."""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path

from tests.firmware import cache, tool
from tests.firmware.base import AS_ROOT, release, sources
from tests.firmware.channel import Event
from tests.firmware.drive import Drive
from tests.firmware.firmware import AA64
from tests.firmware.machine import Machine

SCRIPT = Path(__file__).with_name("small_guest.sh")
PACKAGES = "linux-image-arm64,busybox-static"
MODULES = ("virtio_pci", "virtio_blk", "nvme", "xhci_pci", "usb_storage", "sd_mod", "efivarfs")
_DEPENDS = re.compile(rb"\0depends=([^\0]*)\0")
SETTINGS = "console=ttyAMA0 quiet disks={disks}"


def seen(folder: Path, drives: tuple[Drive, ...]) -> Iterator[Event]:
    """What the guest's kernel shows of each disk, then of each volatile variable."""
    built = cache.cached("small-guest", [SCRIPT.read_bytes(), Path(__file__).read_bytes(), release()], _build)
    settings = SETTINGS.format(disks=len(drives))
    files = ("-kernel", str(built / "kernel"), "-initrd", str(built / "initrd"), "-append", settings)
    yield from Machine(folder, drives, AA64, memory=1024, arguments=files).run()


def _build(folder: Path) -> None:
    tree = folder / "tree"
    fetch = ["mmdebstrap", "--quiet", "--mode=root", "--variant=extract", "--format=directory"]
    fetch += ["--architectures=arm64", f"--include={PACKAGES}", '--aptopt=APT::Install-Recommends "false"']
    tool.run([*AS_ROOT, *fetch, release(), tree, "-"], stdin=sources().encode())
    (kernel,) = tree.glob("boot/vmlinuz-*")
    shutil.copy(kernel, folder / "kernel")
    root = folder / "root"
    (root / "modules").mkdir(parents=True)
    modules = {path.stem.replace("-", "_"): path for path in tree.glob("lib/modules/*/kernel/**/*.ko")}
    for place, name in enumerate(_in_order(modules)):
        shutil.copy(modules[name], root / "modules" / f"{place:02}-{name}.ko")
    shutil.copy(tree / "bin/busybox", root / "busybox")
    shutil.copy(SCRIPT, root / "init")
    (root / "init").chmod(0o755)
    names = "\n".join(str(path.relative_to(root)) for path in sorted(root.rglob("*")))
    packed = ["cpio", "--quiet", "-o", "-H", "newc", "-D", str(root), "-R", "0:0"]
    (folder / "initrd").write_bytes(tool.run(packed, stdin=names.encode()))
    tool.run([*AS_ROOT, "rm", "-r", "--one-file-system", tree])


def _in_order(modules: dict[str, Path]) -> list[str]:
    """Each module behind those that it needs."""
    order: list[str] = []

    def add(name: str) -> None:
        needs = _DEPENDS.search(modules[name].read_bytes()) if name in modules else None
        for other in needs[1].decode().replace("-", "_").split(",") if needs else ():
            if other:
                add(other)
        if name in modules and name not in order:
            order.append(name)

    for name in MODULES:
        add(name)
    return order
