"""Random disks with boot volumes: tables, types, FAT, loaders and default files."""

from dataclasses import dataclass, field, replace

from tests.firmware.disk import BASIC_DATA, ESP, LINUX_DATA, MIB, SECTOR, Disk, Fat, Partition
from tests.firmware.programs import Architecture
from tests.firmware.starts import nodes
from tests.firmware.starts.chance import Chance
from tests.firmware.starts.contents import FOLDER, USUAL, content
from tests.firmware.starts.places import Place, places

XBOOTLDR = "bc13c2ff-59e6-4262-a352-b275fd6f7172"
TABLES = {"gpt": 64, "mbr": 22, "none": 14}
GPT_TYPES = {ESP: 60, BASIC_DATA: 16, LINUX_DATA: 12, XBOOTLDR: 12}
MBR_TYPES = {"ef": 50, "0c": 20, "06": 10, "07": 10, "83": 10}
SIZES = {16: 9 * MIB, 32: 36 * MIB}
LOADERS = (
    "\\EFI\\fernwick\\loaderx64.efi",
    "\\EFI\\quarry\\startx64.efi",
    "\\EFI\\tarn\\rescue.efi",
    "\\EFI\\Quarry Start Files\\Quarry Boot Menu.efi",
    "\\EFI\\fernwick\\großer lader.efi",
    "\\kernel.efi",
    "\\loader\\fernwick\\old\\loader.efi",
)
DEFAULTS = {**USUAL, "witness": 50, "text": 10, "other machine": 12}


@dataclass(frozen=True)
class Home:
    """A FAT volume: on which disk (its place in the list), in which partition (from 1; 0 without a table),
    and the kind of content at each path."""

    disk: int
    number: int
    kinds: dict[str, str]


@dataclass(frozen=True)
class Hardware:
    """Disks in their places, the volumes on them, and the partitions without one."""

    disks: tuple[Disk, ...]
    places: tuple[Place, ...]
    homes: tuple[Home, ...]
    blanks: tuple[Home, ...] = ()
    features: frozenset[str] = field(default_factory=frozenset)

    def node(self, home: Home, **wrong: int) -> bytes:
        """The hard drive node of a volume; `number`, `start` or `size` may be said wrongly. Nothing for a
        volume without a table."""
        disk = self.disks[home.disk]
        if not home.number:
            return b""
        start, size = (value // SECTOR for value in disk.place(home.number))
        said = {"number": home.number, "start": start, "size": size, **wrong}
        place = said["number"], said["start"], said["size"]
        if disk.table == "mbr":
            return nodes.mbr_partition(*place, disk.guid)
        return nodes.gpt_partition(*place, disk.partitions[home.number - 1].guid)


def hardware(chance: Chance, architecture: Architecture) -> Hardware:
    """One to three disks."""
    count = chance.often({1: 30, 2: 45, 3: 25})
    disks: list[Disk] = []
    homes: list[Home] = []
    features: set[str] = set()
    for at in range(count):
        disk, own = _disk(chance, architecture, at)
        if at and disks[0].table != "none" and chance.happens(0.12):
            disk, own = _clone(chance, disks[0], [home for home in homes if home.disk == 0], architecture, at)
            features.add("clones")
        disks.append(disk)
        homes += own
    hung = tuple(chance.sample(places(architecture), count))
    features |= {f"on {place.bus}" for place in hung} | {f"table {disk.table}" for disk in disks}
    features |= {"removable" for place in hung if place.removable}
    features |= _features(disks, homes)
    return Hardware(tuple(disks), hung, tuple(homes), _blanks(disks), frozenset(features))


def _blanks(disks: list[Disk]) -> tuple[Home, ...]:
    return tuple(
        Home(at, number, {})
        for at, disk in enumerate(disks)
        for number, partition in enumerate(disk.partitions, 1)
        if partition.content is None
    )


def _features(disks: list[Disk], homes: list[Home]) -> set[str]:
    found = set()
    for home in homes:
        partition = disks[home.disk].partitions[max(0, home.number - 1)]
        if isinstance(partition.content, Fat):
            found.add(f"FAT{partition.content.bits}")
        if home.number and partition.type not in (ESP, "ef"):
            found.add("a type that is no ESP's")
    if len({home.disk for home in homes}) < len(homes):
        found.add("several volumes on a disk")
    return found


def _disk(chance: Chance, architecture: Architecture, at: int) -> tuple[Disk, list[Home]]:
    table = chance.often(TABLES)
    count = 1 if table == "none" else chance.often({1: 50, 2: 32, 3: 18})
    made = [_partition(chance, architecture, table) for _ in range(count)]
    guid = f"{chance.getrandbits(32):08x}" if table == "mbr" else chance.guid() if table == "gpt" else ""
    disk = Disk(tuple(part for part, _ in made), guid, table)
    numbers = [0] if table == "none" else range(1, count + 1)
    homes = [
        Home(at, number, kinds) for number, (_, kinds) in zip(numbers, made, strict=True) if kinds is not None
    ]
    return disk, homes


def _partition(
    chance: Chance, architecture: Architecture, table: str
) -> tuple[Partition, dict[str, str] | None]:
    """A partition, and what lies on it; None where it holds no file system."""
    guid = chance.guid() if table == "gpt" else ""
    kind = chance.often(MBR_TYPES if table == "mbr" else GPT_TYPES)
    if table != "none" and chance.happens(0.1):
        return Partition(guid, 4 * MIB, kind), None
    bits = chance.often({16: 65, 32: 35})
    kinds = _kinds(chance, architecture)
    volume = _fat(chance, kinds, bits, architecture)
    return Partition(guid, SIZES[bits], kind, content=volume), kinds


def _fat(chance: Chance, kinds: dict[str, str], bits: int, architecture: Architecture) -> Fat:
    files = {}
    for path, kind in kinds.items():
        data = content(chance, kind, architecture)
        files[path if data is not FOLDER else f"{path}\\readme.txt"] = b"a folder" if data is None else data
    return Fat(files, bits, serial=f"{chance.getrandbits(32):08X}")


def _kinds(chance: Chance, architecture: Architecture) -> dict[str, str]:
    """Loaders and default files on one volume."""
    paths = chance.sample(LOADERS, chance.often({0: 8, 1: 40, 2: 35, 3: 17}))
    kinds = {path: chance.often(USUAL) for path in paths}
    if chance.happens(0.65):
        kinds[default_file(architecture)] = chance.often(DEFAULTS)
    if chance.happens(0.15):
        other = chance.choice([one for one in Architecture if one is not architecture])
        kinds[default_file(other)] = "witness"
    return kinds or {"\\EFI\\readme.txt": "text"}


def _clone(
    chance: Chance, disk: Disk, homes: list[Home], architecture: Architecture, at: int
) -> tuple[Disk, list[Home]]:
    """The same table; on each volume the same, or what became of it since."""
    partitions, own = list(disk.partitions), []
    for home in homes:
        kinds = dict(home.kinds)
        if chance.happens(0.5):
            kinds = {
                path: chance.often(USUAL) if chance.happens(0.5) else kind for path, kind in kinds.items()
            }
            kinds.pop(chance.choice(list(kinds)))
            kinds = kinds or {"\\EFI\\readme.txt": "text"}
            old = partitions[home.number - 1]
            bits = old.content.bits if isinstance(old.content, Fat) else 16
            partitions[home.number - 1] = replace(old, content=_fat(chance, kinds, bits, architecture))
        own.append(Home(at, home.number, kinds))
    return replace(disk, partitions=tuple(partitions)), own


def default_file(architecture: Architecture) -> str:
    return f"\\EFI\\BOOT\\BOOT{architecture}.EFI"
