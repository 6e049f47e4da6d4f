"""Device paths made at random from a `random.Random`: every node type of UEFI 2.10 §10.3, and ones it lacks.

One maker for each type writes what the standard lets it hold, with a liking for the values that print in a
way of their own. Nodes that make the reference firmware read beyond their end are not made: shorter than
their type's fields, text without its NUL, vendor nodes without a whole GUID.
"""

import struct
import uuid
from collections.abc import Callable
from random import Random

Maker = Callable[[Random], bytes]

END = bytes.fromhex("7fff0400")
NEXT_INSTANCE = bytes.fromhex("7f010400")
LETTERS = "abcXYZ0189 .-_:%~"
# GUIDs that the standard gives a meaning in vendor nodes (§10.3.4.17, §10.3.4.18) and RAM disks (§10.3.5.9).
KNOWN_GUIDS = [
    "e0c14753-f9be-11d2-9a0c-0090273fc14d",
    "dfa66065-b419-11d3-9a2d-0090273fc14d",
    "7baec70b-57e0-4c76-8e87-2f9e28088343",
    "ad15a0d6-8bec-4acf-a073-d01de77e2d88",
    "37499a9d-542f-4c89-a026-35da142094e4",
    "d487ddb4-008b-11d9-afdc-001083ffca4d",
    "eba4e8d2-3858-41ec-a281-2647ba9660d0",
    "77ab535a-45fc-624b-5560-f7b281d1f96e",
    "3d5abd30-4175-87ce-6d64-d2ade523c4bb",
    "5cea02c9-4d07-69d3-269f-4496fbe096f9",
    "08018188-42cd-bb48-100f-5387d53ded3d",
]
EISA_NUMBERS = [0x0A03, 0x0A08, 0x0604, 0x0301, 0x0501, 0x0401, 0x0C02, 0]


def node(kind: int, subtype: int, data: bytes = b"") -> bytes:
    """One node with its header."""
    return struct.pack("<BBH", kind, subtype, 4 + len(data)) + data


def number(random: Random, bits: int) -> int:
    """Of so many bits: small, at an edge, or anything."""
    top = (1 << bits) - 1
    edges = [0, 1, 2, 9, 10, 15, 16, top, top >> 1, (top >> 1) + 1]
    return random.choice([random.choice(edges), random.randint(0, top)]) & top


def fields(layout: str) -> Maker:
    """Numbers of any value (B, H, I, Q) and bytes (16s) as `struct` writes them."""
    parts = layout.split()

    def make(random: Random) -> bytes:
        return b"".join(
            random.randbytes(int(part[:-1]))
            if part.endswith("s")
            else struct.pack("<" + part, number(random, 8 * struct.calcsize(part)))
            for part in parts
        )

    return make


def guid(random: Random) -> bytes:
    known = uuid.UUID(random.choice(KNOWN_GUIDS)).bytes_le
    return random.choice([known, random.randbytes(16)])


def ascii_text(random: Random, most: int = 12) -> bytes:
    """Text of one byte a character, now and then beyond ASCII, without its NUL."""
    letters = LETTERS if random.random() < 0.8 else LETTERS + "äÿ"
    return "".join(random.choices(letters, k=random.randint(0, most))).encode("latin-1")


def utf16_text(random: Random, most: int = 20) -> bytes:
    """UTF-16 text without its NUL."""
    letters = LETTERS + "\\\\/" + ("" if random.random() < 0.7 else "öß–\u4100\U0001f6df")
    return "".join(random.choices(letters, k=random.randint(0, most))).encode("utf-16-le")


def vendor(random: Random) -> bytes:
    return guid(random) + random.randbytes(random.choice([0, 0, 1, 4, 20]))


def hid(random: Random) -> int:
    eisa = random.choice(EISA_NUMBERS) << 16 | 0x41D0
    return random.choice([eisa, eisa, 0, number(random, 32)])


def acpi(random: Random) -> bytes:
    return struct.pack("<II", hid(random), number(random, 32))


def acpi_expanded(random: Random) -> bytes:
    numbers = struct.pack("<III", hid(random), random.choice([0, number(random, 32)]), hid(random))
    texts = [random.choice([b"", ascii_text(random, 8)]) + b"\0" for _ in range(3)]
    return numbers + b"".join(texts)


def acpi_addresses(random: Random) -> bytes:
    return b"".join(struct.pack("<I", number(random, 32)) for _ in range(random.randint(1, 4)))


def infiniband(random: Random) -> bytes:
    return fields("I")(random) + guid(random) + fields("Q Q Q")(random)


def mac(random: Random) -> bytes:
    return random.randbytes(32) + bytes([random.choice([0, 1, 1, number(random, 8)])])


def protocol(random: Random) -> bytes:
    return struct.pack("<H", random.choice([6, 17, number(random, 16)]))


def ipv4(random: Random) -> bytes:
    head = fields("4s 4s H H")(random) + protocol(random) + bytes([random.choice([0, 1, 7])])
    return head + random.choice([b"", fields("4s 4s")(random), random.randbytes(3)])


def ipv6(random: Random) -> bytes:
    head = fields("16s 16s H H")(random) + protocol(random) + bytes([random.choice([0, 1, 2, 9])])
    return head + random.choice([b"", fields("B 16s")(random), random.randbytes(5)])


def uart(random: Random) -> bytes:
    rate = random.choice([0, 9600, 115200, number(random, 64)])
    small = [random.choice([0, 8, number(random, 8)]), random.randint(0, 7), random.randint(0, 5)]
    return bytes(4) + struct.pack("<QBBB", rate, *small)


def usb_class(random: Random) -> bytes:
    classes = [*range(1, 0x11), 0xDC, 0xE0, 0xFE, 0xFE, 0xFE, 0xFF, 0]
    small = [random.choice(classes), random.choice([1, 2, 3, number(random, 8)]), number(random, 8)]
    return fields("H H")(random) + bytes(small)


def usb_serial(random: Random) -> bytes:
    # A serial number that is not empty may lack its NUL: the firmware adds one.
    text = utf16_text(random)
    return fields("H H H")(random) + text + random.choice([b"\0\0", b""] if text else [b"\0\0"])


def iscsi(random: Random) -> bytes:
    options = number(random, 16)
    head = struct.pack("<HH", random.choice([0, 0, 1, 9]), options) + random.randbytes(8)
    return head + fields("H")(random) + ascii_text(random, 30) + b"\0"


def sas(random: Random) -> bytes:
    topology = random.choice([0, 1, 2, 3, 0x80, 0x81]) | random.randint(0, 7) << 4 | number(random, 8) << 8
    return random.randbytes(16) + struct.pack("<HH", topology, number(random, 16))


def dns(random: Random) -> bytes:
    return bytes([random.choice([0, 1, 2])]) + random.randbytes(16 * random.randint(0, 3))


def wireless(random: Random) -> bytes:
    return random.choice([ascii_text(random, 32).ljust(32, b"\0"), b"x" * 32])


def hard_drive(random: Random) -> bytes:
    kinds = [1, 1, 2, 2, 2, 0, number(random, 8)]
    return fields("I Q Q 16s B")(random) + bytes([random.choice(kinds)])


def file(random: Random) -> bytes:
    return utf16_text(random, 30) + b"\0\0"


def ram_disk(random: Random) -> bytes:
    return fields("Q Q")(random) + guid(random) + fields("H")(random)


def boot_specification(random: Random) -> bytes:
    kind = random.choice([1, 2, 3, 4, 5, 6, 0x80, 0xFF, number(random, 16)])
    return struct.pack("<HH", kind, number(random, 16)) + ascii_text(random, 20) + b"\0"


def storage_fabric(random: Random) -> bytes:
    return fields("B 16s")(random) + ascii_text(random, 30) + b"\0"


NODES: dict[tuple[int, int], Maker] = {
    **{(1, 1): fields("B B"), (1, 2): fields("B"), (1, 3): fields("I Q Q"), (1, 4): vendor},
    **{(1, 5): fields("I"), (1, 6): fields("B Q")},
    **{(2, 1): acpi, (2, 2): acpi_expanded, (2, 3): acpi_addresses, (2, 4): fields("I")},
    **{(3, 1): fields("B B H"), (3, 2): fields("H H"), (3, 3): fields("I Q Q"), (3, 4): fields("I Q")},
    **{(3, 5): fields("B B"), (3, 6): fields("I"), (3, 9): infiniband, (3, 10): vendor, (3, 11): mac},
    **{(3, 12): ipv4, (3, 13): ipv6, (3, 14): uart, (3, 15): usb_class, (3, 16): usb_serial},
    **{(3, 17): fields("B"), (3, 18): fields("H H H"), (3, 19): iscsi, (3, 20): fields("H")},
    **{(3, 21): fields("I 8s 8s"), (3, 22): sas, (3, 23): fields("I 8s"), (3, 24): ascii_text},
    **{(3, 25): fields("B B"), (3, 26): fields("B"), (3, 27): fields("6s"), (3, 28): wireless},
    **{(3, 29): fields("B"), (3, 30): fields("6s B"), (3, 31): dns, (3, 32): guid},
    **{(3, 33): fields("B B"), (3, 34): storage_fabric},
    **{(4, 1): hard_drive, (4, 2): fields("I Q Q"), (4, 3): vendor, (4, 4): file, (4, 5): guid},
    **{(4, 6): guid, (4, 7): guid, (4, 8): fields("I Q Q"), (4, 9): ram_disk},
    (5, 1): boot_specification,
}
# Longer than their type says: the firmware reads no further than the fields it knows.
STRETCHABLE = [
    kind for kind in NODES if kind not in {(1, 4), (3, 10), (4, 3), (2, 3), (3, 12), (3, 13), (3, 31)}
]


def unknown(random: Random) -> bytes:
    """A node that the standard has not: an unused subtype, or a type of its own."""
    known_type = random.randint(1, 5), random.randint(40, 255)
    other_type = random.choice([0, *range(6, 0x7F), *range(0x80, 256)]), random.randint(0, 255)
    return node(*random.choice([known_type, other_type]), random.randbytes(random.choice([0, 1, 5])))


def known(random: Random, kind: tuple[int, int], stretch: float = 0.1) -> bytes:
    """A node of that type; one in ten has bytes behind its fields."""
    data = NODES[kind](random)
    more = kind in STRETCHABLE and random.random() < stretch
    return node(*kind, data + (b"\0" + random.randbytes(4) if more else b""))


def any_node(random: Random, stretch: float = 0.1) -> bytes:
    return unknown(random) if random.random() < 0.1 else known(random, random.choice(list(NODES)), stretch)


def make(random: Random, first: tuple[int, int] | None = None, stretch: float = 0.1) -> bytes:
    """A path of one to six nodes, the first of that type if one is given; some have several instances."""
    nodes = [known(random, first, stretch)] if first else []
    nodes += [any_node(random, stretch) for _ in range(random.randint(0 if first else 1, 5))]
    if random.random() < 0.15:
        nodes.insert(random.randint(0, len(nodes)), NEXT_INSTANCE)
    return b"".join(nodes) + random.choice([END, END, END, bytes.fromhex("7fff0600abcd")])
