"""The sheet's first page: every way by which a machine starts again, from the easiest to the last."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any

from bootwatch.keep.baseline import Baseline
from bootwatch.model.care import Care
from bootwatch.tell.phrases import moment
from bootwatch.tell.plain import plain
from bootwatch.tell.restore_report import CARE
from bootwatch.tell.sheet_facts import has_data, name_of, volume_names
from bootwatch.tell.text import Bullets, Item, Paragraph, Section, Table, Text, Weight

Document = dict[str, Any]
Rows = Iterator[tuple[str, str]]

TO_FILL_IN = "_" * 24
STARTUP, EXACT = "startup.nsh", "entries.dmpstore"
_NAME = 60
# What the shell takes for what it is: a file without quotation marks, a label between them.
_TYPED_FILE, _TYPED_LABEL = re.compile(r"[\\\w.+~-]+"), re.compile(r"[\w.+() -]+")
_MOST_FILES = 4


@dataclass(frozen=True)
class Held:
    """The kit that a sheet lies in: its folder's name, when it was made, its files, whether it lies on a
    stick that starts a shell, and what a start needs and no kit holds; nothing for a sheet without one."""

    name: str = ""
    made: str = ""
    files: Collection[str] = ()
    starts: bool = False
    lacks: Sequence[Document] = ()


def ways(baseline: Baseline, care: Care, key_at: str, held: Held) -> Text:
    """What to take care of, and five ways."""
    files = list(_files(baseline.overview))
    found = (
        ("A system of this machine still starts (see way 4 for choosing it)", _running()),
        ("Any live system with Python 3.11 or newer, started by UEFI", _live(held)),
        ("No live system: the UEFI shell (Secure Boot mostly has to be off for it)", _shell(held, files)),
        ("The firmware's own menu", _menu(care, files)),
        ("By hand, in a live system started by UEFI", _by_hand(baseline)),
    )
    items = tuple(Item(number, said, tuple(rows)) for number, (said, rows) in enumerate(found, 1))
    sections = (
        Section("", (Paragraph(_about(baseline, held)),)),
        Section("before anything is written", (Bullets(CARE), Table(_key(key_at))), Weight.TODO),
        Section("ways back, the easiest first", items),
    )
    return Text(None, "", f'How to start "{name_of(baseline)}" again', sections)


def _about(baseline: Baseline, held: Held) -> str:
    reason = plain(baseline.reason)
    said = f'Of the baseline of {moment(baseline.saved)} ("{reason}").'
    kit = f" Recovery kit: {plain(held.name)}, made {moment(held.made)}." if held.name else ""
    return f"{said}{kit} Numbers, ids and types stand on the second page."


@dataclass(frozen=True)
class _Named:
    """A file that an entry names. ``has_data``: a menu can't make the same entry anew."""

    file: str
    volume: str
    label: str
    has_data: bool


def _files(view: Document) -> Iterator[_Named]:
    """Of the entries in the order, as far as the volume is known."""
    names = volume_names(view)
    for entry in view.get("entries") or ():
        volume = names.get(entry["volume"])
        if entry["file"] and volume and entry["in_order"]:
            label = plain(str(entry["label"]), _NAME)
            yield _Named(plain(str(entry["file"])), volume, label, has_data(entry))


def _running() -> Rows:
    yield "run", "sudo bootwatch restore"
    yield "run", "sudo bootwatch restore --write"
    yield (
        "note",
        "the first only says what it would do; --undo in the place of --write takes it back",
    )
    yield "then", "start once more, and look whether the firmware kept it: sudo bootwatch drift"


def _live(held: Held) -> Rows:
    folder = f"the folder {plain(held.name)}" if held.name else "the recovery kit's folder"
    yield "do", f"plug in the stick, open {folder} in a terminal"
    yield "run", "sha256sum --quiet -c SHA256SUMS"
    yield "run", "sudo python3 bootwatch.pyz restore --kit ."
    yield "run", "sudo python3 bootwatch.pyz restore --kit . --write"
    yield "note", "where a whole partition table or file system is gone: first make it anew by way 5"
    yield "then", "as in way 1; with a kit of another machine it refuses to write"


def _shell(held: Held, files: list[_Named]) -> Rows:
    if held.starts:
        yield "do", "plug in the stick and choose it in the firmware's menu: it finds this kit by itself"
    elif STARTUP in held.files:
        yield "do", "plug in the stick; change to it (FS0:, FS1:, ... until ls shows the kit's folder)"
        yield "type", f"cd {plain(held.name)}"
        yield "type", STARTUP
    if STARTUP in held.files:
        yield "note", "it says what it would write, and asks for a key first; what it leaves: way 2 or 5"
    if EXACT in held.files:
        where = f", in {plain(held.name)}" if held.starts else ""
        yield "do", f"instead, for exactly the former entries and order, whatever was made since{where}:"
        yield "type", f"dmpstore -l {EXACT}"
    typed = (one for one in files if _TYPED_FILE.fullmatch(one.file) and _TYPED_LABEL.fullmatch(one.label))
    for one in islice(typed, 1):
        yield "do", f"to start one this once: find {one.volume} (map -r, then ls FS0:, FS1:, ...)"
        yield "type", "FS0:"
        yield "type", one.file
        yield "do", "to make its entry anew, in front of the others:"
        yield "type", f'bcfg boot addp 0 FS0:{one.file} "{one.label}"'
    yield "then", "start that system, and go on by way 1"


def _menu(care: Care, files: list[_Named]) -> Rows:
    key = plain(care.menu_key, _NAME) or f"{TO_FILL_IN} (see the maker's manual)"
    yield "key", f"right after switching on, again and again: {key}"
    yield "do", "choose the line with the system's name; a disk's own line starts its default file"
    yield "do", "where a line is gone: in the setup, by its item for adding a boot option, choose the file:"
    for one in files[:_MOST_FILES]:
        more = " (without its own data)" if one.has_data else ""
        yield "file", f'{one.file} on {one.volume}, called "{one.label}"{more}'
    if len(files) > _MOST_FILES:
        yield "note", f"{len(files) - _MOST_FILES} more are on the second page"


def _by_hand(baseline: Baseline) -> Rows:
    entries = baseline.overview.get("entries") or ()
    first = next((plain(str(one["entry"]), 20) for one in entries), "BootNNNN")
    yield (
        "do",
        "a file: copy it out of the kit's folder volumes/ onto the volume with that id, mounted by",
    )
    yield "run", "sudo mount /dev/disk/by-partuuid/PARTUUID /mnt"
    yield "do", "where it can't be mounted, as what lay on it is lost: format it first, and only that one:"
    yield "run", f"sudo mkfs.fat -F {_fat_kind(baseline)} -i SERIAL /dev/disk/by-partuuid/PARTUUID"
    yield "do", "an entry by its number, with all its bytes, and then the order (in the kit's folder):"
    yield "run", f"sudo cp variables/{first}-* /sys/firmware/efi/efivars/"
    yield "run", "sudo cp variables/BootOrder-* /sys/firmware/efi/efivars/"
    yield "do", "a partition's type; which disk it is, by the ids on the second page:"
    yield "run", "lsblk -o NAME,SIZE,MODEL,PTUUID"
    yield "run", "sudo sfdisk --part-type /dev/DISK NUMBER TYPE"
    yield "do", "a whole partition table, only where it is gone, and only on that disk:"
    yield "run", "sudo sfdisk /dev/DISK < tables/gpt-GUID.sfdisk"


def _fat_kind(baseline: Baseline) -> str:
    """What all volumes are; where they differ, a word in which the person finds that of each."""
    kinds = {volume.fat_type for volume in baseline.state.volumes.values() if volume.fat_type}
    return "-OR-".join(map(str, sorted(kinds or {12, 16, 32})))


def _key(key_at: str) -> tuple[tuple[str, str]]:
    return (("The disk encryption's recovery key is kept at:", plain(key_at, _NAME) or TO_FILL_IN),)
