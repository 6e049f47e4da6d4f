"""What the fuzzing begins with: real and made values of each format, none of them by our own readers."""

import json
import struct
import tempfile
import uuid
from collections.abc import Callable
from pathlib import Path
from random import Random

from tests.formats import made_paths, volume
from tests.formats.blocks import Blocks
from tests.formats.tools import SAMPLES, run

_MADE = 100
SIGNED = SAMPLES / "signed"


def device_path() -> list[bytes]:
    recorded = json.loads((SAMPLES / "device_path_text.json").read_text())["paths"].values()
    return [bytes.fromhex(path["bytes"]) for path in recorded] + [
        made_paths.make(Random(number)) for number in range(_MADE)
    ]


def load_option() -> list[bytes]:
    found = []
    for number, path in enumerate(device_path()):
        random = Random(number)
        text = random.choice(["Fernwick Linux", "Quarry", "", "Döma ☃"]).encode("utf-16-le") + b"\0\0"
        data = random.choice([b"", b"quiet\0", "root".encode("utf-16-le"), uuid.UUID(int=number).bytes_le])
        attributes = random.choice([0, 1, 9, 0x101, 0x80000001])
        found.append(struct.pack("<IH", attributes, len(path)) + text + path + data)
    return found


def signature_list() -> list[bytes]:
    """Two lists of each of the standard's types, and a certificate's beginning."""
    types = {
        "c1c41626-504c-4092-aca9-41f936934328": 32,
        "826ca512-cf10-4ac9-b187-be01496631bd": 20,
        "093e0fae-a6c4-4f50-9f1b-d41e2b89c19a": 64,
        "3bd2a492-96c0-4079-b420-fcf98ef103ed": 48,
        "a5c059a1-94e4-4aa7-87b5-ab155c2bf072": 90,
    }
    found = []
    for kind, size in types.items():
        content = (b"\x30\x82\x01\x00" if size == 90 else b"").ljust(size, b"\x11")
        one = uuid.UUID(int=7).bytes_le + content
        head = struct.pack("<16sIII", uuid.UUID(kind).bytes_le, 28 + 2 * len(one), 0, len(one))
        found.append(head + one * 2)
    record = b"\x01" + uuid.UUID(int=5).bytes_le + struct.pack("<HH", 1, 2) + bytes(11)
    head = struct.pack("<16sIII", uuid.UUID(next(iter(types))).bytes_le, 28 + 48, 0, 48)
    return [*found, b"".join(found), head + bytes(16) + record]


def event_log() -> list[bytes]:
    """A log of each form, with an event of each kind that says something."""
    events = [(0, 8, b""), (7, 4, bytes(4)), (4, 0x80000007, b"Calling EFI Application from Boot Option")]
    name = "BootOrder".encode("utf-16-le")
    events.append((1, 0x8000000C, struct.pack("<16sQQ", bytes(16), 9, 4) + name + bytes(4)))
    path = device_path()[0]
    events.append((4, 0x80000003, struct.pack("<QQQQ", 1 << 20, 4096, 0, len(path)) + path))
    old = b"".join(
        struct.pack("<II20sI", pcr, kind, bytes(20), len(data)) + data for pcr, kind, data in events
    )
    spec = struct.pack("<16sIBBBBI", b"Spec ID Event03\0", 0, 0, 2, 105, 2, 2)
    spec += struct.pack("<HHHH", 4, 20, 11, 32) + b"\0"
    agile = struct.pack("<II20sI", 0, 3, bytes(20), len(spec)) + spec
    for pcr, kind, data in events:
        digests = struct.pack("<H20sH32s", 4, bytes(20), 11, bytes(32))
        agile += struct.pack("<III", pcr, kind, 2) + digests + struct.pack("<I", len(data)) + data
    return [old, agile]


def gpt() -> list[bytes]:
    return [path.read_bytes() for path in sorted((SAMPLES / "tables").glob("*.blocks"))]


def mbr() -> list[bytes]:
    return [path.read_bytes() for path in sorted((SAMPLES / "tables").glob("*.blocks"))]


def fat() -> list[bytes]:
    """Volumes of each type, by mkfs.fat and mtools: folders, long names, removed files, a label."""
    found = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "loader.efi").write_bytes(b"MZ" * 700)
        (folder / "a long name of Döma.conf").write_bytes(b"title Fernwick\n")
        sources = [folder / "loader.efi", folder / "a long name of Döma.conf"]
        for kind, kib in ((12, 64), (16, 4300), (32, 34000)):
            image = volume.make(folder / f"fat{kind}", kind, kib, "-n", "FERNWICK", "-i", "1234abcd")
            run("mmd", "-i", image, "::/EFI", "::/EFI/fernwick", "::/EFI/quarry")
            volume.copy_in(image, sources, "::/EFI/fernwick")
            volume.copy_in(image, sources, "::/")
            run("mdel", "-i", image, "::/loader.efi")
            run("mdeltree", "-i", image, "::/EFI/quarry")
            found.append(Blocks.of(image.read_bytes()).pack())
    return found


def file_system() -> list[bytes]:
    return [path.read_bytes() for path in sorted((SAMPLES / "file_systems").glob("*.blocks"))]


def pe() -> list[bytes]:
    paths = (*sorted(SAMPLES.glob("*.efi")), SIGNED / "twice.efi")
    return [path.read_bytes() for path in paths]


def signed_data() -> list[bytes]:
    """Signatures by sbsign, cut out by their place at the end of the file; and a shim's section."""
    data = (SIGNED / "once.efi").read_bytes()
    start = data.rindex(struct.pack("<HH", 0x200, 2)) + 4
    own = (SIGNED / "authority.der").read_bytes()
    return [data[start:], struct.pack("<IIII", len(own), 0, 16, 16 + len(own)) + own]


def x509() -> list[bytes]:
    return [path.read_bytes() for path in sorted(SIGNED.glob("*.der"))]


def sbat() -> list[bytes]:
    return [
        b"sbat,1,SBAT Version,sbat,1,https://example.org\nloader.fernwick,3,Fernwick,loader,2.1,mail:a@b\n"
    ]


def pe_version() -> list[bytes]:
    """The resources of the program that has some, as a tree and as a version block."""
    data = (SAMPLES / "version-x64.efi").read_bytes()
    tree = int.from_bytes(data[data.index(b".rsrc\0") + 20 :][:4], "little")
    return [data[tree:], data[data.index("VS_VERSION_INFO".encode("utf-16-le")) - 6 :]]


def os_release() -> list[bytes]:
    return [b'# a\nNAME="Fernwick \\"Linux\\""\nID=fernwick\nVERSION_ID=\'7\'\n', b"A=b\\ c\"d\"'e'\n"]


SEEDS: dict[str, Callable[[], list[bytes]]] = {
    "device_path": device_path,
    "load_option": load_option,
    "signature_list": signature_list,
    "event_log": event_log,
    "gpt": gpt,
    "mbr": mbr,
    "fat": fat,
    "file_system": file_system,
    "pe": pe,
    "pe_version": pe_version,
    "signed_data": signed_data,
    "x509": x509,
    "sbat": sbat,
    "os_release": os_release,
}
