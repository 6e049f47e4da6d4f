"""What is done with any bytes at all, a format at a time: everything that its readers offer.

Only what is documented may be raised. Anything else, a text that can't be written down, bytes that don't come
back as they were, or an endless list is a finding.
"""

import contextlib
import dataclasses
import inspect
import io
from collections.abc import Callable
from itertools import islice

from bootwatch.formats import FormatError, gpt, mbr, os_release, pe_version, sbat, shim_keys, signature_list
from bootwatch.formats.device_path import DevicePath
from bootwatch.formats.event_log import EventLog
from bootwatch.formats.fat import Entry, Volume
from bootwatch.formats.file_system import identify, identify_bytes
from bootwatch.formats.load_option import LoadOption
from bootwatch.formats.pe import Image
from bootwatch.formats.signed_data import SignedData
from bootwatch.formats.x509 import Certificate
from tests.formats.blocks import Blocks
from tests.fuzz import checksums
from tests.fuzz.limits import CountedReader

_MANY = 50
_MAX_PROBLEMS = 1100
_DEPTH = 5
_known_views: dict[type, list[str]] = {}


class Finding(Exception):
    """A reader did not keep what it promises."""


def hold(true: bool, what: str) -> None:
    if not true:
        raise Finding(what)


def touch(value: object, depth: int = 0) -> None:
    """Look at all that a value holds and says of itself."""
    if isinstance(value, str):
        value.encode("utf-8")
    elif isinstance(value, dict):
        touch([*value.keys(), *value.values()], depth)
    elif isinstance(value, (list, tuple, set, frozenset)):
        for one in islice(value, _MANY):
            touch(one, depth + 1)
    if type(value).__module__.startswith("bootwatch.formats") and depth < _DEPTH:
        if type(value).__str__ is not object.__str__:
            str(value).encode("utf-8")
        problems = getattr(value, "problems", ())
        hold(len(problems) <= _MAX_PROBLEMS, f"{len(problems)} problems")
        for name in _views(type(value)):
            touch(getattr(value, name), depth + 1)


def _views(kind: type) -> list[str]:
    if kind in _known_views:
        return _known_views[kind]
    fields = [field.name for field in dataclasses.fields(kind)] if dataclasses.is_dataclass(kind) else []
    views = [name for name, _ in inspect.getmembers(kind, lambda one: isinstance(one, property))]
    names = [name for name in (*fields, *views) if not name.startswith("_") and name != "source"]
    return _known_views.setdefault(kind, names)


def device_path(data: bytes) -> None:
    path = DevicePath.parse(data)
    hold(bytes(path) == data, "the bytes don't come back")
    joined = b"".join(map(bytes, path.nodes))
    hold(data.startswith(joined) and data.endswith(path.rest), "the nodes are not the bytes")
    touch(path)
    touch(path.hard_drive())
    file = path.file()
    hold(file is None or file.startswith("\\"), f"{file!r} is no path")
    touch(file)


def load_option(data: bytes) -> None:
    option = LoadOption.parse(data)
    hold(bytes(option) == data, "the bytes don't come back")
    hold(data.endswith(option.optional_data), "the optional data are not the option's end")
    touch(option)


def signatures(data: bytes) -> None:
    lists = signature_list.parse(data)
    hold(bytes(lists) == data, "the bytes don't come back")
    touch(lists)
    touch(list(lists))


def event_log(data: bytes) -> None:
    log = EventLog.parse(data)
    hold(bytes(log) == data, "the bytes don't come back")
    hold(data.endswith(log.rest), "the rest is not the log's end")
    places = [event.offset for event in log.events]
    hold(places == sorted(set(places)), "the events are not in their order")
    touch(log)


def partition_table(data: bytes) -> None:
    """As the bytes are, and once more with checksums that are right: else few get behind them."""
    disk = Blocks.unpack(data)
    for block_size in (512, 4096):
        with contextlib.suppress(FormatError):
            touch(gpt.PartitionTable.read(CountedReader(disk), block_size))
        checksums.repair(disk, block_size)
        with contextlib.suppress(FormatError):
            table = gpt.PartitionTable.read(CountedReader(disk), block_size)
            hold(table.source in ("primary", "backup", "damaged"), table.source)
            hold(len({part.number for part in table.partitions}) == len(table.partitions), "numbers twice")
            touch(table)


def boot_record(data: bytes) -> None:
    mbr.protection(data)
    for reader, block_size in (
        (Blocks.unpack(data), 512),
        (Blocks.unpack(data), 4096),
        (io.BytesIO(data), 512),
    ):
        with contextlib.suppress(FormatError):
            table = mbr.PartitionTable.read(CountedReader(reader), block_size)
            hold(len({part.number for part in table.partitions}) == len(table.partitions), "numbers twice")
            touch(table)


def program(data: bytes) -> None:
    image = Image.read(CountedReader(io.BytesIO(data)))
    hold(image.truncated == (image.real_size < image.declared_size), "truncated or not")
    for view in ("authenticode_sha256", "signatures", "sbat"):
        with contextlib.suppress(FormatError):
            touch(getattr(image, view))
    touch(image)
    for read in (image.os_release, image.uname, image.cmdline):
        with contextlib.suppress(FormatError):
            touch(read())
    for section in image.sections[:_MANY]:
        with contextlib.suppress(FormatError):
            content = image.section(section.name)
            hold(content is not None and content in data, "the content is not the file's")


def signed_data(data: bytes) -> None:
    """As a signature, and as what a shim brings with it."""
    for read in (SignedData.parse, shim_keys.parse):
        with contextlib.suppress(FormatError):
            touch(read(data))
    found = SignedData.parse(data)
    hold(found.content in data, "the content is not the signature's")
    for signer in found.signers:
        touch(found.certificate_of(signer))


def certificate(data: bytes) -> None:
    found = Certificate.parse(data)
    hold(data.startswith(found.raw), "the certificate is not the bytes")
    touch(found)


def generations(data: bytes) -> None:
    found = sbat.parse(data.decode("utf-8", "replace"))
    touch([found, found.problems])


def version(data: bytes) -> None:
    touch(pe_version.strings(data))
    touch(pe_version.find(data))


def volume(data: bytes) -> None:
    disk = open_volume(data)
    for ask in VOLUME_QUESTIONS.values():
        ask(disk)
    touch([disk.problems, disk.damaged_paths, disk.limited_paths])


def open_volume(data: bytes) -> Volume:
    return Volume(CountedReader(Blocks.unpack(data)))


def _facts(disk: Volume) -> None:
    touch([disk.label, disk.serial, disk.fat_type, disk.cluster_size, disk.dirty])
    hold(disk.free_bytes >= 0, "less than no free space")


def _files(disk: Volume) -> None:
    entries = list(disk.walk())
    touch(entries)
    for entry in entries[:_MANY]:
        _file(disk, entry)


VOLUME_QUESTIONS: dict[str, Callable[[Volume], None]] = {
    "facts": _facts,
    "files": _files,
    "deleted": lambda disk: touch(list(disk.deleted())),
    "check": lambda disk: touch(disk.check()),
}


def _file(disk: Volume, entry: Entry) -> None:
    hold(entry.path.startswith("\\"), f"{entry.path!r} is no path")
    # Two files may bear one name, and only the first is found by it.
    with contextlib.suppress(FormatError, FileNotFoundError, IsADirectoryError, NotADirectoryError):
        disk.read(entry.path.upper(), limit=1 << 20)
    if not entry.is_folder:
        with contextlib.suppress(FormatError):
            file = disk.open(entry)
            hold(len(file.read(70_000)) == min(70_000, entry.size), "less than the file's size")
            file.seek(entry.size // 2)
            file.read(3)


def file_system(data: bytes) -> None:
    """Of the disk that the bytes describe, and of the bytes themselves."""
    for found in (identify(CountedReader(Blocks.unpack(data))), identify_bytes(data)):
        touch(found)
        hold(bool(found.kind) and max(map(len, (found.kind, found.uuid, found.label))) <= 512, repr(found))


def system_names(data: bytes) -> None:
    touch(os_release.parse(data.decode("utf-8", "replace")))


Target = Callable[[bytes], None]
TARGETS: dict[str, Target] = {
    "device_path": device_path,
    "load_option": load_option,
    "signature_list": signatures,
    "event_log": event_log,
    "gpt": partition_table,
    "mbr": boot_record,
    "fat": volume,
    "file_system": file_system,
    "pe": program,
    "pe_version": version,
    "signed_data": signed_data,
    "x509": certificate,
    "sbat": generations,
    "os_release": system_names,
}


def run(name: str, data: bytes) -> None:
    """One input: a value, or a FormatError."""
    with contextlib.suppress(FormatError):
        TARGETS[name](data)
