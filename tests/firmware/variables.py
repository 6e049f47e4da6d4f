"""The firmware's variable store, read and written while the machine is off, through virt-firmware."""

import re
import struct
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from virt.firmware.efi import bootentry, devpath, efivar, ucs16
from virt.firmware.varstore import edk2

from tests.firmware.disk import SECTOR, Disk
from tests.firmware.image import Image

GLOBAL = "8be4df61-93ca-11d2-aa0d-00e098032b8c"
NON_VOLATILE, BOOT, RUNTIME = 1, 2, 4
ALL = NON_VOLATILE | BOOT | RUNTIME
ACTIVE = 1
_ATTRIBUTES = struct.Struct("<I")
_ENTRY = re.compile("Boot[0-9A-F]{4}")


class _Store(edk2.Edk2VarStore):  # type: ignore[misc]
    """virt-firmware's own, but for filling up the free space a byte at a time (a second for each store)."""

    def bytes_varstore(self, varlist: efivar.EfiVarList) -> bytes:
        written: bytes = self.filedata[: self.start] + self.bytes_varlist(varlist)
        return bytes(written + b"\xff" * (self.end - len(written)) + self.filedata[self.end :])


class Variables:
    """Variables by name; a name is looked up without its GUID, as the firmware's own are unique."""

    def __init__(self, store: Path) -> None:
        self._store = _Store(str(store))
        self._list = self._store.get_varlist()

    def save(self, store: Path) -> None:
        """Writes the store back."""
        self._store.write_varstore(str(store), self._list)

    def names(self) -> list[str]:
        """Names of all variables, sorted."""
        return sorted(self._list)

    def get(self, name: str) -> bytes:
        """The variable's value; raises KeyError when there is none."""
        return bytes(self._list[name].data)

    def set(self, name: str, value: bytes, *, guid: str = GLOBAL, attributes: int = ALL) -> None:
        """Makes or replaces the variable."""
        self._list[name] = efivar.EfiVar(name, guid=guid, attr=attributes, data=value)

    def delete(self, name: str) -> None:
        """Takes the variable away; raises KeyError when there is none."""
        del self._list[name]

    def free_bytes(self) -> int:
        """What is left of the store, once it is written anew without gaps."""
        return int(self._store.end - self._store.start - len(self._store.bytes_varlist(self._list)))

    def efivars(self) -> dict[str, bytes]:
        """What a running system sees, as efivarfs shows it: NAME-GUID to attributes and value."""
        return {
            f"{name}-{variable.guid}": _ATTRIBUTES.pack(variable.attr) + bytes(variable.data)
            for name, variable in self._list.items()
            if variable.attr & RUNTIME
        }

    @property
    def order(self) -> list[int]:
        """BootOrder; empty when it is absent."""
        value = self.get("BootOrder") if "BootOrder" in self._list else b""
        return list(struct.unpack(f"<{len(value) // 2}H", value))

    @order.setter
    def order(self, numbers: Sequence[int]) -> None:
        self.set("BootOrder", struct.pack(f"<{len(numbers)}H", *numbers))

    def numbers(self) -> list[int]:
        """The numbers of all Boot####, whatever they hold."""
        return sorted(int(name[4:], 16) for name in self._list if _ENTRY.fullmatch(name))

    def entries(self) -> dict[int, tuple[str, bytes]]:
        """Boot#### by number: description and device-path list, as virt-firmware reads them."""
        return {number: _described(self.get(f"Boot{number:04X}")) for number in self.numbers()}


def _described(option: bytes) -> tuple[str, bytes]:
    (size,) = struct.unpack_from("<H", option, 4)
    title = bootentry.BootEntry(data=option).title
    start = 6 + title.size()
    return str(title), option[start : start + size]


def load_option(description: str, path: bytes, *, attributes: int = ACTIVE, data: bytes = b"") -> bytes:
    """EFI_LOAD_OPTION (UEFI 2.10 §3.1.3) as virt-firmware writes it; `path` with its End node."""
    title = bytes(ucs16.from_string(description))
    return struct.pack("<LH", attributes, len(path)) + title + path + data


def file_on(disk: Disk, number: int, file: str = "") -> bytes:
    """The short form HD(...)/File(...) for a partition (from 1) of a disk with a GPT; or without a file."""
    start, size = (value // SECTOR for value in disk.place(number))
    node = devpath.DevicePathElem()
    node.set_gpt(number, start, size, disk.partitions[number - 1].guid)
    path = devpath.DevicePath()
    path.append(node)
    if file:
        path.extend(devpath.DevicePath.filepath(file))
    return bytes(path)


@contextmanager
def opened(store: Image) -> Iterator[Variables]:
    """The variables in the image of a store, changes written back at the end. Not while a machine has it."""
    with store.opened() as raw:
        variables = Variables(raw)
        yield variables
        variables.save(raw)


def is_store(path: Path) -> bool:
    """Whether the raw file holds a formatted store."""
    return bool(edk2.Edk2VarStore.probe(str(path)))
