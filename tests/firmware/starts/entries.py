"""Random load options: of every sort that a firmware's table holds, the broken ones included."""

import struct
import uuid
from collections.abc import Callable
from dataclasses import dataclass

from tests.firmware.drive import Bus
from tests.firmware.programs import Architecture
from tests.firmware.starts import nodes
from tests.firmware.starts.chance import Chance
from tests.firmware.starts.volumes import LOADERS, Hardware, Home

AUTOMATIC = uuid.UUID("8108ac4e-9f11-4d59-850e-e21a522c59b2").bytes_le  # edk2's mark of its own options
FIRMWARE_VOLUMES = {
    Architecture.X64: "7cb8bdc9-f8eb-4f34-aaea-3ee4af6516a1",
    Architecture.IA32: "7cb8bdc9-f8eb-4f34-aaea-3ee4af6516a1",
    Architecture.AA64: "64074afe-340a-4be6-94ba-91b5b4d0f71e",
}
ACTIVE = 1
ATTRIBUTES = {
    "active": (ACTIVE, 76),
    "inactive": (0, 7),
    "hidden": (ACTIVE | 8, 4),
    "hidden and inactive": (8, 1),
    "force reconnect": (ACTIVE | 2, 3),
    "application category": (ACTIVE | 0x100, 5),
    "reserved category": (ACTIVE | 0x200, 2),
    "reserved bits": (ACTIVE | 0x80000000, 2),
}
LABELS = ("Fernwick Linux", "Quarry", "Quarry Start", "Tarn Rescue", "fernwick", "", "Größer")


@dataclass(frozen=True)
class Target:
    """A file on a volume, or one that isn't there."""

    hardware: Hardware
    home: Home
    file: str
    architecture: Architecture

    @property
    def disk(self) -> bytes:
        return self.hardware.places[self.home.disk].path()

    @property
    def node(self) -> bytes:
        return self.hardware.node(self.home)

    @property
    def short(self) -> bytes:
        """From the partition on; a volume without a table has no such form."""
        return self.node or self.disk

    @property
    def file_node(self) -> bytes:
        return nodes.file(self.file)


@dataclass(frozen=True)
class Made:
    """A load option's bytes, and what is peculiar about it."""

    value: bytes
    features: frozenset[str]


def entry(chance: Chance, hardware: Hardware, architecture: Architecture) -> Made:
    """One option."""
    target = _target(chance, hardware, architecture)
    deadly = _DEADLY if architecture is Architecture.AA64 else ()
    form = chance.often({name: weight for name, weight in _FORM_WEIGHTS.items() if name not in deadly})
    path = FORMS[form](chance, target)
    attributes = chance.often({name: weight for name, (_, weight) in ATTRIBUTES.items()})
    features = {f"form: {form}"} | ({attributes} if attributes != "active" else set())
    data = chance.often(
        {b"": 70, b"QY": 10, "two".encode("utf-16-le"): 8, chance.randbytes(16): 8, AUTOMATIC: 1}
    )
    if data:
        features.add("the firmware's mark" if data == AUTOMATIC else "optional data")
    label = chance.choice(LABELS)
    value = nodes.option(label, path, attributes=ATTRIBUTES[attributes][0], data=data)
    if chance.happens(0.06):
        fault = chance.choice(list(FAULTS))
        value = FAULTS[fault](label, path, data)
        features.add(f"fault: {fault}")
    return Made(value, frozenset(features))


def _target(chance: Chance, hardware: Hardware, architecture: Architecture) -> Target:
    """Mostly a file that is there, whatever it holds."""
    home = chance.choice(hardware.homes)
    loaders = [path for path in home.kinds if path.lower().endswith(".efi")]
    if not loaders or chance.happens(0.08):
        return Target(hardware, home, chance.choice(LOADERS), architecture)
    own = [path for path in loaders if path in LOADERS] or loaders
    return Target(hardware, home, chance.choice(own if chance.happens(0.85) else loaders), architecture)


# forms of device paths; each gets the chance and the target

Form = Callable[[Chance, Target], bytes]


def _wrong(field: str) -> Form:
    """The short form with another number, start or size."""

    def make(chance: Chance, target: Target) -> bytes:
        value = chance.choice([0, 1, 2, 3, 4, 2049, 0xFFFFFFFF])
        return target.hardware.node(target.home, **{field: value}) + target.file_node + nodes.END

    return make


def _full_wrong(field: str) -> Form:
    def make(chance: Chance, target: Target) -> bytes:
        value = chance.choice([1, 2, 3, 2047, 4096])
        hard_drive = target.hardware.node(target.home, **{field: value})
        return target.disk + hard_drive + target.file_node + nodes.END

    return make


def _elsewhere(chance: Chance, target: Target) -> bytes:
    """The full path with another PCI function or port."""
    place = target.hardware.places[target.home.disk]
    device, function = place.function
    if place.bus is not Bus.VIRTIO and chance.happens(0.5):
        path = place.path(port=place.unit + 2)
    else:
        path = place.path((device + chance.choice([1, -1, 2]), function))
    return path + target.node + target.file_node + nodes.END


def _strange(chance: Chance, target: Target) -> bytes:
    """A partition that isn't there."""
    node = chance.choice(
        [
            nodes.gpt_partition(1, 2048, 8192, chance.guid()),
            nodes.mbr_partition(1, 2048, 8192, f"{chance.getrandbits(32):08x}"),
        ]
    )
    return node + target.file_node + nodes.END


def _blank(chance: Chance, target: Target) -> bytes:
    """A partition that holds no file system; where there is none, one that isn't there."""
    if not target.hardware.blanks:
        return _strange(chance, target)
    return target.hardware.node(chance.choice(target.hardware.blanks)) + target.file_node + nodes.END


def _spelled(spell: Callable[[str], str | tuple[str, ...]]) -> Form:
    """The short form with the file spelled in another way; several texts make several nodes."""

    def make(_: Chance, target: Target) -> bytes:
        spelled = spell(target.file)
        texts = (spelled,) if isinstance(spelled, str) else spelled
        return target.short + b"".join(map(nodes.file, texts)) + nodes.END

    return make


def _other_case(text: str) -> str:
    """Each part in the other case; what has no upper case of one letter stays."""
    return "\\".join(part if "ß" in part else part.swapcase() for part in text.split("\\"))


def _pieces(text: str) -> tuple[str, ...]:
    folder, _, name = text.rpartition("\\")
    return (folder, name) if folder else (text,)


def _short_name(text: str) -> str:
    """As the first 8.3 name of its folder would be."""
    parts = []
    for part in text.split("\\"):
        stem, dot, ending = part.partition(".")
        plain = stem.replace(" ", "")
        parts.append(part if len(stem) <= 8 and " " not in part else f"{plain[:6]}~1{dot}{ending}".upper())
    return "\\".join(parts)


def _firmware(name: str, *, known: bool) -> Form:
    def make(chance: Chance, target: Target) -> bytes:
        volume = FIRMWARE_VOLUMES[target.architecture] if known else chance.guid()
        return nodes.firmware_file(volume, name) + nodes.END

    return make


def _two_paths(chance: Chance, target: Target) -> bytes:
    good = target.short + target.file_node + nodes.END
    other = nodes.gpt_partition(1, 2048, 8192, chance.guid()) + target.file_node + nodes.END
    return good + other if chance.happens(0.7) else other + good


def _instances(chance: Chance, target: Target) -> bytes:
    path = target.short + target.file_node
    other = nodes.gpt_partition(1, 2048, 8192, chance.guid()) + target.file_node
    return path + nodes.END_OF_INSTANCE + other + nodes.END


FORMS: dict[str, Form] = {
    "short": lambda _, target: target.short + target.file_node + nodes.END,
    "full": lambda _, target: target.disk + target.node + target.file_node + nodes.END,
    "disk only": lambda _, target: target.disk + nodes.END,
    "partition only, full": lambda _, target: target.disk + target.node + nodes.END,
    "partition only, short": lambda _, target: target.short + nodes.END,
    "file only": lambda _, target: target.file_node + nodes.END,
    "short, another number": _wrong("number"),
    "short, another start": _wrong("start"),
    "short, another size": _wrong("size"),
    "full, another number": _full_wrong("number"),
    "full, another start": _full_wrong("start"),
    "full, another size": _full_wrong("size"),
    "full, elsewhere": _elsewhere,
    "a partition that isn't there": _strange,
    "a partition without a file system": _blank,
    "a file that isn't there": lambda _, target: (
        target.short + nodes.file("\\EFI\\gone\\gone.efi") + nodes.END
    ),
    "no leading backslash": _spelled(lambda text: text[1:]),
    "other case": _spelled(_other_case),
    "several file nodes": _spelled(_pieces),
    "several file nodes, each from the root": _spelled(
        lambda text: tuple(f"\\{p}" for p in _pieces(text[1:]))
    ),
    "double backslashes": _spelled(lambda text: "\\" + text[1:].replace("\\", "\\\\")),
    "trailing backslash": _spelled(lambda text: text + "\\"),
    "forward slashes": _spelled(lambda text: text.replace("\\", "/")),
    "a folder": _spelled(lambda text: text.rpartition("\\")[0] or "\\EFI"),
    "short name": _spelled(_short_name),
    "a NUL too many": lambda _, target: target.short + nodes.file(target.file, "\0\0") + nodes.END,
    "no NUL": lambda _, target: target.short + nodes.file(target.file, "") + nodes.END,
    "an End node of odd length": lambda _, target: target.short + target.file_node + b"\x7f\xff\x05\0\0",
    "only an End node": lambda _, __: nodes.END,
    "two paths in the list": _two_paths,
    "two instances": _instances,
    "a vendor's node": lambda _, target: (
        target.short + nodes.node(4, 3, bytes(16)) + target.file_node + nodes.END
    ),
    "no PCI root": lambda _, target: target.disk[12:] + target.node + target.file_node + nodes.END,
    "disk and file": lambda _, target: target.disk + target.file_node + nodes.END,
    "USB class": lambda _, __: nodes.usb_class() + nodes.END,
    "BBS": lambda _, __: nodes.bbs() + nodes.END,
    "the shell": _firmware(nodes.SHELL, known=True),
    "the menu": _firmware(nodes.MENU, known=True),
    "a firmware volume that isn't there": _firmware(nodes.SHELL, known=False),
}
_FORM_WEIGHTS = {
    **dict.fromkeys(FORMS, 1.2),
    "short": 34,
    "full": 17,
    "disk only": 9,
    "partition only, full": 3,
    "partition only, short": 4,
    "file only": 8,
    "short, another number": 3,
    "short, another start": 2,
    "short, another size": 2,
    "other case": 3,
    "no leading backslash": 2.5,
    "several file nodes": 2.5,
    "two paths in the list": 2.5,
    "the shell": 1.2,
    "the menu": 0.8,
    "a vendor's node": 0.7,
    "short name": 0.8,
    "BBS": 0.7,
    "a firmware volume that isn't there": 0.7,
    "USB class": 0.8,
}
# Listed in BootOrder, they make the AArch64 build die of an exception before it tries anything.
_DEADLY = ("no NUL", "an End node of odd length")
FAULTS: dict[str, Callable[[str, bytes, bytes], bytes]] = {
    "path list too long": lambda label, path, data: nodes.option(
        label, path, length=len(path) + 50, data=data[:40]
    ),
    "path list too short": lambda label, path, data: nodes.option(
        label, path, length=len(path) - 4, data=data
    ),
    "path list of no length": lambda label, path, data: nodes.option(label, path, length=0, data=data),
    "description without NUL": lambda label, path, _: (
        struct.pack("<IH", ACTIVE, len(path)) + b"Q" * 2 * max(1, len(label))
    ),
    "too short": lambda _, __, ___: b"\1\0\0\0\4",
    "no End node": lambda label, path, _: nodes.option(label, path[: -len(nodes.END)]),
}
