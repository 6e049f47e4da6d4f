"""Files that a start goes through, menus that nobody sees, and starts that nobody watched."""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest

from bootwatch.model.gap import Gap, Reason
from bootwatch.model.past import Past
from bootwatch.model.snapshot import Circumstance, Moment, State
from bootwatch.model.variable import LOADER_INTERFACE, Variable, key
from bootwatch.model.volume import ENTRIES_FOLDER, File
from tests.judge.dual import ATTIC, ENTRIES, HALL, ON_ATTIC, ON_HALL
from tests.judge.installed import entry
from tests.judge.scenes import RELEASE, found, told, volume_gap
from tests.judge.states import (
    DEFAULT,
    FERNWICK,
    FERNWICK_PART,
    QUARRY,
    QUARRY_PART,
    STICK,
    VIRTIO,
    disk,
    program,
    state,
    text,
)

HERE, THERE = f"gpt:{FERNWICK_PART}", f"gpt:{QUARRY_PART}"


def machine(
    hall: Mapping[str, File | str] | None = None,
    attic: Mapping[str, File | str] | None = None,
    *,
    order: tuple[int, ...] = (0, 1),
    entries: Mapping[int, bytes] | None = None,
    **variables: bytes,
) -> State:
    """The usual machine, but for what is given; a text's content is kept."""
    hall, attic = ON_HALL if hall is None else hall, ON_ATTIC if attic is None else attic
    texts = {one for files in (hall, attic) for one in files.values() if isinstance(one, str)}
    held = state(
        [(HALL, 1, _files(hall)), (ATTIC, 1, _files(attic))],
        entries=ENTRIES if entries is None else entries,
        order=order,
        variables=variables,
        system=RELEASE,
    )
    return replace(held, texts={_digest(one): one.encode() for one in texts})


def _files(contents: Mapping[str, File | str]) -> dict[str, File]:
    return {
        path: File("", len(one), "", _digest(one)) if isinstance(one, str) else one
        for path, one in contents.items()
    }


def _digest(content: str) -> str:
    return hashlib.sha256(content.encode()).hexdigest()


# files


CONF = "\\loader\\entries\\fernwick.conf"
KERNEL = "\\fernwick\\linux"
FOLLOWED: dict[str, File | str] = {
    CONF: f"title Fernwick Linux\nlinux {KERNEL}\n".replace("\\", "/"),
    KERNEL: program("linux"),
}


def reader(name: str = "fernwick") -> File:
    """A loader in whose text the folder of entries stands."""
    one = program(name)
    assert one.program
    return replace(one, program=replace(one.program, mentions=(ENTRIES_FOLDER,)))


def damaged(held: State, **more: Any) -> list[tuple[str, str | None]]:
    return [(one.level.value, one.system) for one in found(held, **more) if one.finding == "file-damaged"]


def test_the_only_loader_is_empty() -> None:
    one = found(machine(attic={QUARRY: text(size=0)}), before=machine())[0]
    assert (one.finding, one.level.value, one.system) == ("file-damaged", "stranded", "Quarry")
    assert one.what == f"the file {QUARRY}"
    assert one.where == f"{THERE}, {QUARRY}: it is empty"


def test_an_empty_loader_beside_another_way() -> None:
    held = machine({FERNWICK: text(size=0), DEFAULT: program("fernwick")})
    assert damaged(held, before=machine()) == [("weakened", "Fernwick Linux")]


def test_a_file_that_could_not_be_read_whole() -> None:
    gap = volume_gap(THERE, QUARRY, Reason.DAMAGED)
    unread = replace(program("quarry"), sha256=None, program=None)
    assert damaged(machine(attic={QUARRY: unread}), before=machine(), gaps=(gap,)) == [("stranded", "Quarry")]


def test_what_the_disk_does_not_give_is_unknown_and_not_damaged() -> None:
    unread = replace(program("quarry"), sha256=None, program=None)
    for reason in (Reason.UNREADABLE, Reason.DENIED, Reason.LIMIT):
        gap = volume_gap(THERE, QUARRY, reason)
        assert damaged(machine(attic={QUARRY: unread}), before=machine(), gaps=(gap,)) == []


def test_a_fault_of_the_file_system_though_the_file_reads() -> None:
    """Never more than weakened: what could be read whole the firmware may read too."""
    faults = {THERE: {QUARRY: "shares cluster 7 with \\x.bin"}}
    one = found(machine(), faults=faults)[0]
    assert (one.finding, one.level.value, one.system) == ("file-damaged", "weakened", "Quarry")
    assert one.where.endswith(": shares cluster 7 with \\x.bin")
    assert told(machine(), faults={THERE: {"\\EFI\\quarry\\logo.bmp": "shares cluster 7"}}) == []
    assert told(machine(), faults={"gpt:gone": {QUARRY: "shares cluster 7"}}) == []


def test_what_a_loader_goes_on_with() -> None:
    held = machine({FERNWICK: reader(), **FOLLOWED})
    assert damaged(held) == []
    assert damaged(held, faults={HERE: {KERNEL: "its chain ends early"}}) == [("weakened", "Fernwick Linux")]
    empty = machine({FERNWICK: reader(), **FOLLOWED, KERNEL: text(size=0)})
    assert damaged(empty) == [("stranded", "Fernwick Linux")]


def test_an_empty_file_that_no_start_goes_through() -> None:
    assert told(machine({**ON_HALL, "\\EFI\\fernwick\\notes.txt": text(size=0)})) == []


def test_a_stick_with_an_empty_loader() -> None:
    part = "7b8c9d0e-1f2a-4b3c-8d4e-5f6a7b8c9d08"
    stick = disk("stick", part, address=STICK.format(1), removable=True)
    fixed_disk = replace(stick, address=VIRTIO.format(6, 6), removable=False)
    before, held = (
        state([(HALL, 1, ON_HALL), (stick, 1, {DEFAULT: one})], entries={0: ENTRIES[0]}, order=(0,))
        for one in (program("rescue"), text(size=0))
    )
    assert told(held, before=before) == []
    was, fixed = (replace(one, disks={**one.disks, stick.key: fixed_disk}) for one in (before, held))
    assert told(fixed, before=was) == [("file-damaged", "stranded")]


# menus


NO_TIME = struct.pack("<H", 0)
SHOWS = [("menu-not-shown", "weakened")]
TO_QUARRY_BY_MENU = f'menuentry "Quarry" {{\n chainloader ({QUARRY_PART}){QUARRY}\n}}\n'.replace("\\", "/")
MENU = "\\EFI\\fernwick\\menu.cfg"


def test_only_the_firmware_leads_to_a_system_and_does_not_wait() -> None:
    """Quarry's entry is not in the order."""
    one = found(machine(order=(0,), Timeout=NO_TIME))[0]
    assert (one.finding, one.level.value, one.system) == ("menu-not-shown", "weakened", "Quarry")
    assert (one.what, one.where) == ("the firmware's own menu", "Timeout = 0")


@pytest.mark.parametrize("timeout", [b"\1\0", b"\xff\xff", b"\0", b""])
def test_the_firmware_waits_or_says_nothing(timeout: bytes) -> None:
    assert told(machine(order=(0,), Timeout=timeout)) == []


def test_without_a_timeout_the_firmware_does_as_it_likes() -> None:
    assert told(machine(order=(0,))) == []
    gap = Gap("variables", key("Timeout"), Reason.DENIED, "")
    assert told(machine(order=(0,)), gaps=(gap,)) == []


def test_a_system_in_the_order_needs_no_menu() -> None:
    assert told(machine(Timeout=NO_TIME)) == []


def by_menu(*times: str, name: str = MENU) -> State:
    """Quarry has no entry: the start menu of Fernwick Linux leads to it."""
    lines = "".join(f"set timeout={time}\n" for time in times)
    hall: dict[str, File | str] = {
        **ON_HALL,
        name: lines + own_entry() + TO_QUARRY_BY_MENU,
        KERNEL: program("linux"),
    }
    return machine(hall, entries={0: ENTRIES[0]}, order=(0,))


def own_entry() -> str:
    return 'menuentry "Fernwick Linux" {\n linux /fernwick/linux\n}\n'


def shown(held: State, **more: Any) -> list[tuple[str, str]]:
    return [one for one in told(held, before=machine(), **more) if one[0] == "menu-not-shown"]


def test_only_a_start_menu_leads_to_a_system_and_does_not_wait() -> None:
    assert shown(by_menu("0")) == SHOWS
    one = next(one for one in found(by_menu("0"), before=machine()) if one.finding == "menu-not-shown")
    assert (one.what, one.system) == ("the start menu of Fernwick Linux", "Quarry")
    assert one.where == f"{HERE}, {MENU}: timeout 0"


@pytest.mark.parametrize("times", [(), ("5",), ("5", "0"), ("0", "-1"), ("${wait}",)])
def test_a_start_menu_that_may_wait(times: tuple[str, ...]) -> None:
    assert shown(by_menu(*times)) == []


def test_one_menu_that_waits_is_enough() -> None:
    """The firmware's does not, and the start menu of Fernwick Linux does; or the other way round."""
    for time, wait, said in (("5", 0, []), ("0", 5, []), ("0", 0, SHOWS)):
        held = by_menu(time)
        more = {key("Boot0001"): ENTRIES[1], key("Timeout"): struct.pack("<H", wait)}
        variables = {name: Variable(7, data) for name, data in more.items()}
        assert shown(replace(held, variables={**held.variables, **variables})) == said


def interface(name: str, value: str) -> dict[str, Variable]:
    return {key(name, LOADER_INTERFACE): Variable(7, (value + "\0").encode("utf-16-le"))}


def test_the_loaders_own_variable_counts_before_its_settings() -> None:
    here = interface("LoaderDevicePartUUID", FERNWICK_PART.upper())
    elsewhere = interface("LoaderDevicePartUUID", QUARRY_PART)
    hidden, waits = interface("LoaderConfigTimeout", "menu-hidden"), interface("LoaderConfigTimeout", "7")
    assert shown(by_menu(), variables={**here, **hidden}) == SHOWS
    assert shown(by_menu("0"), variables={**here, **waits}) == []
    assert shown(by_menu(), variables={**elsewhere, **hidden}) == []


@pytest.mark.parametrize(
    ("time", "said"), [("0", SHOWS), ("menu-hidden", SHOWS), ("menu-force", []), ("3", [])]
)
def test_a_menu_of_boot_entries(time: str, said: list[tuple[str, str]]) -> None:
    hall: dict[str, File | str] = {
        FERNWICK: reader(),
        **FOLLOWED,
        "\\loader\\loader.conf": f"timeout {time}\n",
        "\\loader\\entries\\quarry.conf": "title Quarry\nefi /EFI/quarry/startx64.efi\n",
        QUARRY: program("quarry"),
    }
    # Quarry's own entry leads to its loader; it is taken out of the order, and then away.
    before = machine(hall, {}, entries={0: ENTRIES[0], 1: entry("Quarry", FERNWICK_PART, QUARRY)})
    held = machine(hall, {}, entries={0: ENTRIES[0]}, order=(0,))
    assert shown_after(before, held) == said


def shown_after(before: State, held: State) -> list[tuple[str, str]]:
    return [one for one in told(held, before=before) if one[0] == "menu-not-shown"]


# starts


def look(boot: str | None, resets: int | None, time: str = "2026-05-04T10:00:00Z") -> Circumstance:
    return Circumstance(boot, Moment.BOOT, time, tpm_resets=resets)


def unwatched(stop: Circumstance | None, begin: Circumstance | None) -> list[str]:
    return [one.what for one in found(machine(), past=Past(stop=stop, begin=begin))]


def test_starts_that_nobody_watched() -> None:
    past = Past(stop=look("a", 300, "2026-04-14T08:00:00Z"), begin=look("b", 362))
    one = found(machine(), past=past)[0]
    assert (one.finding, one.level.value, one.system) == ("starts-unwatched", "changed", "Fernwick Linux")
    assert one.what == "61 starts in 20 days"
    assert one.where == "the TPM's count of starts went from 300 to 362"


@pytest.mark.parametrize(
    "time",
    [
        "2031-05-04T10:00:00Z",
        "2026-05-04T09:00:00Z",
        "2016-05-04T10:00:00Z",
        "2016-05-01T10:00:00Z",
        "no time",
        "",
    ],
    ids=["years back", "an hour before", "ten years before", "more than that", "nonsense", "nothing"],
)
def test_days_are_left_out_where_the_clock_jumped(time: str) -> None:
    """``time`` is that of the last look before."""
    assert unwatched(look("a", 300, time), look("b", 362)) == ["61 starts"]


@pytest.mark.parametrize(
    ("stop", "begin"),
    [
        (look("a", 300), look("b", 301)),
        (look("a", 300), look("b", 310)),
        (look("a", 300), look("b", 4)),
        (look("a", None), look("b", 400)),
        (look("a", 300), look("b", None)),
        (look("a", 300), look("a", 400)),
        (look("a", 300), look("b", 4_000_000_000)),
        (None, look("b", 400)),
        (look("a", 300), None),
    ],
    ids=[
        "none between",
        "nine between",
        "cleared",
        "not known before",
        "not known now",
        "one start",
        "another TPM",
        "nothing before",
        "nothing now",
    ],
)
def test_few_starts_or_none_that_are_known(stop: Circumstance | None, begin: Circumstance | None) -> None:
    assert unwatched(stop, begin) == []


def test_ten_starts_are_enough() -> None:
    assert unwatched(look("a", 300), look("b", 311)) == ["10 starts"]
