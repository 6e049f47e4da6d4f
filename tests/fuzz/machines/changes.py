"""What is done to a machine root: each function is one kind of damage, somewhere, to some extent."""

from __future__ import annotations

import struct
from collections.abc import Callable
from functools import wraps
from random import Random

from tests.fuzz.machines.damaged_root import LOG, DamagedRoot
from tests.roots import FERNWICK_ESP, GLOBAL, QUARRY_ESP, TARN_PART, load_option

EFIVARS = "sys/firmware/efi/efivars"
DISKS = ("vda", "vdb")
_MIB = 1 << 20
_BLOCK = 512
HOSTILE = (
    "\x1b]0;owned\x07\x1b[2J",
    "\u202egnp.efi\u2066",
    "<script>alert(1)</script><img src=x onerror=y>",
    "a\r\nBcc: everybody@example.org\r\n\r\n.\r\n",
    "\u200b\u00ad\u2028\u3164\u2800",
    "\ud800\udfff\ud800",
    "'\"`$(reboot)%n%s{0}{{x}}",
    "Z\u0301\u0302\u0303\u0304\u0305\u0306" * 20,
    "\x00\x01\x7f\x85\x9b31m",
    "../../../../etc/passwd",
    "con.efi",
    'a"} 1\nbootwatch_system_starts{system="x',
    "x" * 16_000,
    "\x1b" * 2_000,
    "\U000e0041\U0001f600\uffff",
)
Change = Callable[[Random, DamagedRoot], None]
CHANGES: list[Change] = []


def _change(one: Change) -> Change:
    CHANGES.append(one)
    return one


def hostile(random: Random) -> str:
    """One hostile text, or two that meet."""
    return "".join(random.choices(HOSTILE, k=random.choice((1, 1, 2))))


def _disk(random: Random, root: DamagedRoot) -> str | None:
    """One of those whose content can still be changed."""
    whole = [disk for disk in DISKS if ("disk", disk) not in root.blind]
    return random.choice(whole) if whole else None


def _flipped(random: Random, data: bytes) -> bytes:
    """Some bytes changed, taken out or put in."""
    changed = bytearray(data)
    for _ in range(random.choice((1, 1, 2, 5, 20))):
        place = random.randrange(len(changed) + 1)
        length = random.choice((1, 1, 2, 4, 16))
        how = random.randrange(4)
        if how == 0:
            changed[place : place + length] = random.randbytes(length)
        elif how == 1:
            del changed[place : place + length]
        elif how == 2:
            changed[place:place] = random.choice((b"\0", b"\xff", random.randbytes(length)))
        else:
            changed[place : place + length] = random.choice((b"\0", b"\xff", b"\x7f")) * length
    return bytes(changed)


def _variables(root: DamagedRoot) -> list[str]:
    try:
        return sorted(path.name for path in root.path(EFIVARS).iterdir() if path.is_file())
    except OSError:
        return []


def _variable(random: Random, root: DamagedRoot) -> str | None:
    names = _variables(root)
    return f"{EFIVARS}/{random.choice(names)}" if names else None


# variables


@_change
def flip_a_variable(random: Random, root: DamagedRoot) -> None:
    if place := _variable(random, root):
        root.write(place, _flipped(random, root.read(place)))


@_change
def empty_or_fill_a_variable(random: Random, root: DamagedRoot) -> None:
    if place := _variable(random, root):
        root.write(place, random.choice((b"", b"\7", b"\7\0\0\0", random.randbytes(40), bytes(32 << 10))))


@_change
def remove_a_variable(random: Random, root: DamagedRoot) -> None:
    if place := _variable(random, root):
        root.remove(place)


@_change
def hide_a_variable(random: Random, root: DamagedRoot) -> None:
    """It is there and can't be read."""
    name = random.choice(("Boot0000", "Boot0001", "Boot0002", "BootOrder"))
    place = f"{EFIVARS}/{name}-{GLOBAL}"
    how = random.randrange(4)
    if how == 0:
        root.make_pipe(place)
    elif how == 1:
        root.make_link(place, "../../../../../../../../etc/hostname")
    else:
        root.make_folder(place)
    root.blind.add(("variables", name))


@_change
def entries_of_all_sorts(random: Random, root: DamagedRoot) -> None:
    for _ in range(random.choice((1, 2, 5, 40))):
        number = random.choice((random.randrange(16), random.randrange(0x10000)))
        name = random.choice(
            (f"Boot{number:04X}", f"Boot{number:04X}", f"boot{number:04x}", f"Key{number:04X}")
        )
        volume = random.choice((FERNWICK_ESP, QUARRY_ESP, TARN_PART, "00000000-0000-0000-0000-000000000000"))
        label = random.choice((hostile(random), "Fernwick Linux", "Quarry", "")).replace("\0", "")
        path = random.choice(("\\EFI\\fernwick\\loaderx64.efi", f"\\EFI\\{hostile(random)[:90]}", "", "\\"))
        option = struct.pack("<I", 7) + _option(label, volume, path, random)
        if random.random() < 0.3:
            option = _flipped(random, option)
        root.write(f"{EFIVARS}/{name}-{GLOBAL}", option)


def _option(label: str, volume: str, path: str, random: Random) -> bytes:
    text = label.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace")
    file = path.encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace").replace("\0", "")
    data = random.choice((b"", b"\0" * 40, hostile(random).encode("utf-16-le", "surrogatepass")))
    return load_option(text, volume, file, random.randrange(3), data, random.choice((0, 1, 9, 0x101)))


@_change
def another_order(random: Random, root: DamagedRoot) -> None:
    count = random.choice((0, 1, 3, 10, 5_000))
    numbers = [random.choice((0, 1, 2, random.randrange(0x10000))) for _ in range(count)]
    data = struct.pack(f"<{count}H", *numbers) + random.choice((b"", b"\1"))
    root.write(f"{EFIVARS}/{random.choice(('BootOrder', 'BootNext'))}-{GLOBAL}", b"\7\0\0\0" + data)


@_change
def strange_variables(random: Random, root: DamagedRoot) -> None:
    loader = "4a67b082-0a4c-41cf-b6c7-440b29bb8c4f"
    security = "d719b2cb-3d3a-4596-a3bc-dad00e67656f"
    name, guid = random.choice(
        (
            *(
                (text, loader)
                for text in ("LoaderDevicePartUUID", "LoaderImageIdentifier", "LoaderEntrySelected")
            ),
            *((text, security) for text in ("db", "dbx")),
            *((text, GLOBAL) for text in ("SecureBoot", "OsIndications", "Timeout", "BootCurrent", "PK")),
        )
    )
    text = hostile(random).encode("utf-16-le", "surrogatepass")
    data = random.choice((text, text + b"\0\0", random.randbytes(60), b"\xff" * 9, bytes(20_000)))
    root.write(f"{EFIVARS}/{name}-{guid}", b"\6\0\0\0" + data)


# disks


def _change_of_a_disk(one: Callable[[Random, DamagedRoot, str], None]) -> None:
    """One of what is on a disk, whichever can still be changed."""

    @wraps(one)
    def change(random: Random, root: DamagedRoot) -> None:
        disk = _disk(random, root)
        if disk is not None:
            one(random, root, disk)
            root.touched.add(disk)

    CHANGES.append(change)


@_change_of_a_disk
def flip_a_table(random: Random, root: DamagedRoot, disk: str) -> None:
    size = root.path(f"dev/{disk}").stat().st_size
    for _ in range(random.choice((1, 3, 12))):
        near = random.choice((0, _BLOCK, 2 * _BLOCK, size - _BLOCK, size - 33 * _BLOCK))
        offset = near + random.choice((random.randrange(_BLOCK), random.randrange(128)))
        root.patch(f"dev/{disk}", min(offset, size - 8), random.randbytes(random.choice((1, 2, 4, 8))))


@_change_of_a_disk
def wipe_a_table(random: Random, root: DamagedRoot, disk: str) -> None:
    root.patch(f"dev/{disk}", random.choice((0, _BLOCK)), random.choice((b"\0", b"\xff")) * (33 * _BLOCK))


@_change_of_a_disk
def flip_a_volume(random: Random, root: DamagedRoot, disk: str) -> None:
    """Its first 40 KiB: boot sector, tables, folders; sometimes anywhere."""
    start = _MIB * random.choice((1, 1, 5))
    for _ in range(random.choice((1, 4, 30))):
        where = random.choice((random.randrange(90), random.randrange(40 << 10), random.randrange(4 * _MIB)))
        length = random.choice((1, 2, 8))
        root.patch(f"dev/{disk}", start + where, random.choice((random.randbytes(length), b"\0" * length)))


@_change_of_a_disk
def rename_on_a_volume(random: Random, root: DamagedRoot, disk: str) -> None:
    """Names in folders, short and long, become hostile ones in place."""
    image = root.read(f"dev/{disk}")
    words = (
        b"F\0E\0R\0N",
        b"f\0e\0r\0n\0",
        b"l\0o\0a\0d\0",
        b"s\0t\0a\0r\0t\0",
        b"LOADER",
        b"EFI   ",
        b"QUARRY",
    )
    word = random.choice(words)
    text = hostile(random).encode("utf-16-le", "surrogatepass")[: len(word)]
    place = image.find(word, _MIB)
    while place != -1 and random.random() < 0.9:
        root.patch(f"dev/{disk}", place, text)
        place = image.find(word, place + 1)


@_change
def hide_a_disk(random: Random, root: DamagedRoot) -> None:
    """It is listed and can't be read, or not from some place on."""
    disk = _disk(random, root)
    if disk is None or disk in root.touched:
        return
    how = random.randrange(4)
    size = root.path(f"dev/{disk}").stat().st_size
    if how == 0:
        root.cut(f"dev/{disk}", random.choice((0, 100, 20 * _BLOCK, _MIB, _MIB + 3000, size - 1)))
    elif how == 1:
        start = random.choice((0, _MIB, 5 * _MIB, random.randrange(size)))
        root.failing[disk] = (start, start + random.choice((1, _BLOCK, 40 << 10, size)))
    else:
        start = random.randrange(size)
        root.failing[disk] = (start, size)
    root.blind.add(("disk", disk))


# what the kernel says


@_change
def strange_sysfs(random: Random, root: DamagedRoot) -> None:
    folders = [path for path in root.path("sys/devices").rglob("*") if path.is_file()]
    place = str(random.choice(folders).relative_to(root.folder))
    nonsense = ("", "-1", "9" * 40, "0", "3", "4096", "1e9", hostile(random), "\u0663", "0x10", " 8 ")
    if random.random() < 0.2:
        root.remove(place)
    else:
        root.write(place, random.choice(nonsense).encode("utf-8", "surrogatepass"))
    # A disk said to be shorter, or moved, is another disk: what lay behind its end isn't there.
    root.touched.update(DISKS)


@_change
def strange_texts(random: Random, root: DamagedRoot) -> None:
    place = random.choice(
        (
            *("etc/hostname", "etc/machine-id", "etc/os-release", "etc/fstab", "proc/self/mountinfo"),
            *("proc/sys/kernel/random/boot_id", "proc/sys/kernel/arch", "sys/firmware/efi/fw_platform_size"),
            *("var/log/dpkg.log", LOG, "sys/class/dmi/id/product_name", "sys/class/dmi/id/bios_version"),
        )
    )
    how = random.randrange(6)
    if how == 0:
        root.write(place, _flipped(random, root.read(place)))
    elif how == 1:
        root.write(place, (hostile(random) + "\n").encode("utf-8", "surrogatepass"))
    elif how == 2:
        root.make_folder(place)
    elif how == 3:
        root.write(place, _lines(random, place).encode("utf-8", "surrogatepass"))
    elif how == 4:
        root.make_pipe(place)
    else:
        root.make_link(place, random.choice(("../../../../../../../etc/shadow", "nowhere", place)))


def _lines(random: Random, place: str) -> str:
    text = hostile(random).replace("\n", " ")
    partition = random.choice((FERNWICK_ESP, QUARRY_ESP.upper(), text))
    forms = (
        f"PARTUUID={partition} /boot/efi vfat umask=0077 0 2\n",
        f"UUID=0000-0000 /{text} auto x-systemd.automount,{text} 0 0\n",
        f"36 25 254:65 / /boot/efi\\040\\012{text} rw - vfat /dev/vda1 rw\n",
        "1 1 8:2 / / rw - ext4 /dev/vdz2 rw\n",
        "36 25 254:65 / /boot rw shared:1 -\n36 25 254:80 / /boot/efi rw - vfat /dev/vdb rw,codepage=437\n",
        f"2026-11-02 10:00:00 upgrade {text}:amd64 4 {text}\n",
        f'NAME="{text}"\nID={text}\n',
        "\\\n#" + "x" * 5_000 + "\n",
    )
    return "".join(random.choices(forms, k=random.choice((1, 3, 400))))


@_change
def strange_settings(random: Random, root: DamagedRoot) -> None:
    place = "etc/bootwatch/bootwatch.yaml"
    text = random.choice(
        (
            _flipped(random, root.read(place)),
            f"machine: {hostile(random)!r}\n".encode("utf-8", "surrogatepass"),
            b"systems: [{name: Quarry, join: [gpt:" + QUARRY_ESP.encode() + b"]}]\nlanguage: de\n",
            b"systems: &a [*a]\n",
            b"accept: diverted\nsign_of_life: 1\n",
            b"[" * 3_000,
            b"? " * 2_000,
        )
    )
    root.write(place, text)


@_change
def strange_baseline(random: Random, root: DamagedRoot) -> None:
    """Sometimes a few bytes of the baseline, which a person may have edited."""
    if random.random() < 0.2:
        place = root.state / "baseline/current.yaml"
        place.write_bytes(_flipped(random, place.read_bytes()))
