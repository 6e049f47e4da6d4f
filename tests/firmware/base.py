"""The guest's disks, built once: Fernwick Linux on the first, the other system's volumes on the second.

Fernwick Linux is the host's own release of Debian under another name: systemd, the full kernel, the libraries
that bootwatch runs with, and the agent through which the host drives it.
"""

import os
import struct
from pathlib import Path

from tests.firmware import cache, firmware, tool
from tests.firmware.disk import BASIC_DATA, LINUX_DATA, MIB, Disk, Fat, Partition
from tests.firmware.image import Format, Image
from tests.firmware.programs import program
from tests.firmware.variables import file_on, load_option, opened

FILES = Path(__file__).parent / "base_files"
PACKAGES = [
    *("systemd", "systemd-sysv", "udev", "dbus", "linux-image-amd64", "initramfs-tools", "systemd-boot-efi"),
    *("python3", "python3-yaml", "python3-systemd", "python3-watchdog", "apprise", "python3-aiosmtpd"),
    *("python3-cryptography", "python3-jeepney"),
    *("dosfstools", "gdisk", "mtools", "fdisk", "e2fsprogs", "util-linux", "kmod", "strace"),
]
# Half of the kernel's modules drive what no guest here has.
UNWANTED = [
    *("/usr/share/doc/*", "/usr/share/man/*", "/usr/share/locale/*", "/usr/share/fonts/*"),
    *(f"/lib/modules/*/kernel/{part}/*" for part in ("sound", "drivers/gpu", "drivers/media")),
    *(f"/lib/modules/*/kernel/drivers/net/{part}/*" for part in ("wireless", "ethernet", "can")),
    "/lib/modules/*/kernel/drivers/infiniband/*",
]
# Nobody logs in, and nothing is to wake up by the clock in the middle of a test.
MASKED = [
    *("getty@tty1.service", "serial-getty@ttyS0.service", "systemd-logind.service", "e2scrub_reap.service"),
    *("systemd-binfmt.service", "proc-sys-fs-binfmt_misc.automount", "systemd-pstore.service"),
    *("fstrim.timer", "dpkg-db-backup.timer", "e2scrub_all.timer", "systemd-tmpfiles-clean.timer"),
]
SETTINGS = "root=PARTUUID={root} console=ttyS0 quiet systemd.show_status=1 mitigations=off nowatchdog"
FERNWICK_LOADER = "\\EFI\\fernwick\\loaderx64.efi"
QUARRY_LOADER = "\\EFI\\quarry\\loaderx64.efi"
FERNWICK_ENTRY, QUARRY_ENTRY = 0, 1
# What goes to the boot volume.
STARTED = ("usr/lib/systemd/boot/efi/systemd-bootx64.efi", "boot/vmlinuz-*", "boot/initrd.img-*")
AS_ROOT = [] if os.geteuid() == 0 else ["sudo"]
MACHINE_ID = b"f0000000000040008000000000000010\n"
ROOT_SIZE = 1536 * MIB


def fernwick(
    content: Path | None = None, loader: bytes = b"", kernel: bytes = b"", initrd: bytes = b""
) -> Disk:
    """The first disk: Fernwick Linux's boot volume (partition 1) and root folder (partition 2)."""
    root = "f0000000-0000-4000-8000-000000000002"
    entry = f"title Fernwick Linux\nlinux /fernwick/linux\ninitrd /fernwick/initrd\noptions {SETTINGS}\n"
    files = {
        FERNWICK_LOADER: loader,
        firmware.X64.default_file: loader,
        "\\loader\\loader.conf": b"timeout 0\n",
        "\\loader\\entries\\fernwick.conf": entry.format(root=root).encode(),
        "\\fernwick\\linux": kernel,
        "\\fernwick\\initrd": initrd,
    }
    volume = Fat(files, label="FERNWICK", serial="F0000001")
    esp = Partition("f0000000-0000-4000-8000-000000000001", 64 * MIB, name="Fernwick boot", content=volume)
    system = Partition(root, ROOT_SIZE, LINUX_DATA, "Fernwick root", content)
    return Disk((esp, system), guid="f0000000-0000-4000-8000-00000000000d")


def quarry() -> Disk:
    """The second disk: Quarry's boot volume (partition 1), which Fernwick Linux never mounts, and data."""
    volume = Fat({QUARRY_LOADER: program("leaver")}, label="QUARRY", serial="0A000001")
    data = Fat({"\\accounts\\2019.txt": b"paid\n"}, label="DATA", serial="0A000002")
    esp = Partition("0a000000-0000-4000-8000-000000000001", 48 * MIB, name="Quarry boot", content=volume)
    rest = Partition("0a000000-0000-4000-8000-000000000002", 48 * MIB, BASIC_DATA, "Quarry data", data)
    return Disk((esp, rest), guid="0a000000-0000-4000-8000-00000000000d")


def disks() -> tuple[Image, Image, Image]:
    """First disk, second disk, variable store: never written to; made when they are not there yet."""
    recipe = [*cache.tree(FILES), Path(__file__).read_bytes(), release(), program("leaver")]
    folder = cache.cached("base", recipe, _build)
    first, second, store = (folder / f"{name}.qcow2" for name in ("fernwick", "quarry", "variables"))
    return Image(first, Format.QCOW2), Image(second, Format.QCOW2), Image(store, Format.QCOW2)


def release() -> str:
    """The host's release of Debian, which the guest gets too."""
    lines = Path("/etc/os-release").read_text().splitlines()
    fields = dict(line.split("=", 1) for line in lines if "=" in line)
    return fields["VERSION_CODENAME"].strip('"')


def sources() -> str:
    """Where the host gets that release from, as lines of a sources.list."""
    wanted_fields = "--format=$(REPO_URI)|$(RELEASE)|$(COMPONENT)"
    shown = tool.run(["apt-get", "indextargets", wanted_fields, "Created-By: Packages"])
    wanted = {release(), f"{release()}-updates", f"{release()}-security"}
    fields = sorted({tuple(line.split("|")) for line in shown.decode().splitlines()})
    found = [(uri, suite) for uri, suite, part in fields if suite in wanted and part == "main"]
    return "".join(f"deb {uri} {suite} main\n" for uri, suite in found)


def _build(folder: Path) -> None:
    tree, root = folder / "tree", folder / "root.ext4"
    _bootstrap(tree)
    tool.run([*AS_ROOT, "tee", tree / "etc/machine-id"], stdin=MACHINE_ID)
    parts = [tool.run([*AS_ROOT, "cat", _only(tree, pattern)]) for pattern in STARTED]
    with root.open("wb") as file:
        file.truncate(ROOT_SIZE)
    tool.run(
        [*AS_ROOT, "mkfs.ext4", "-q", "-F", "-L", "fernwick", "-E", "lazy_itable_init=0", "-d", tree, root]
    )
    tool.run([*AS_ROOT, "rm", "-r", "--one-file-system", tree])
    first, second = fernwick(root, *parts), quarry()
    for name, disk in (("fernwick", first), ("quarry", second)):
        raw = disk.write(folder / f"{name}.raw")
        raw.converted(folder / f"{name}.qcow2", Format.QCOW2)
        raw.path.unlink()
    _make_store(folder, first, second)
    root.unlink()


def _only(tree: Path, pattern: str) -> Path:
    (path,) = tree.glob(pattern)
    return path


def _make_store(folder: Path, first: Disk, second: Disk) -> None:
    fresh = Image(firmware.X64.variables, Format.RAW).converted(folder / "variables.qcow2", Format.QCOW2)
    with opened(fresh) as variables:
        entries = {
            FERNWICK_ENTRY: load_option("Fernwick Linux", file_on(first, 1, FERNWICK_LOADER)),
            QUARRY_ENTRY: load_option("Quarry", file_on(second, 1, QUARRY_LOADER)),
        }
        for number, option in entries.items():
            variables.set(f"Boot{number:04X}", option)
        variables.set("Timeout", struct.pack("<H", 0))
        variables.order = list(entries)


def _bootstrap(tree: Path) -> None:
    """Fills the folder with all that the guest has."""
    steps = [
        'mv "$1"/etc/fernwick-release "$1"/usr/lib/os-release',
        f'chroot "$1" systemctl --quiet mask {" ".join(MASKED)}',
        'chroot "$1" systemctl --quiet enable guest-agent.service',
        'mkdir "$1"/boot/efi; chmod a+r "$1"/boot/*',
    ]
    command = ["mmdebstrap", "--quiet", "--variant=essential", "--mode=root", "--format=directory"]
    command += [f"--include={','.join(PACKAGES)}", '--aptopt=APT::Install-Recommends "false"']
    command += [f"--dpkgopt=path-exclude={pattern}" for pattern in UNWANTED]
    command += [f"--essential-hook=sync-in {FILES} /", *(f"--customize-hook={step}" for step in steps)]
    tool.run([*AS_ROOT, *command, release(), tree, "-"], stdin=sources().encode())
