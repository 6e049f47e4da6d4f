"""States with something taken away or put elsewhere."""

from __future__ import annotations

import copy
import struct
from collections.abc import Callable
from dataclasses import replace

import pytest

from bootwatch.formats.load_option import LoadOption
from bootwatch.judge import altered
from bootwatch.judge.made_option import option_for
from bootwatch.judge.startup import simulate
from bootwatch.model.disk import Partition
from bootwatch.model.snapshot import State
from bootwatch.model.variable import key
from bootwatch.model.volume import Volume
from tests.judge.paths import drive, file, option
from tests.judge.states import (
    DEFAULT,
    FERNWICK,
    FERNWICK_PART,
    QUARRY,
    QUARRY_PART,
    TARN_PART,
    VIRTIO,
    disk,
    program,
    state,
    text,
)

HALL = disk("hall", FERNWICK_PART, TARN_PART)
ATTIC = disk("attic", QUARRY_PART, address=VIRTIO.format(5, 5))
VOLUME = f"gpt:{FERNWICK_PART}"
BOTH = {
    0: option("Fernwick Linux", drive(FERNWICK_PART), file(FERNWICK)),
    1: option("Quarry", drive(QUARRY_PART), file(QUARRY)),
    2: option("Tarn Rescue", drive(TARN_PART, 2), attributes=0),
}


def usual() -> State:
    files = {
        FERNWICK: program("fernwick"),
        "\\EFI\\Fernwick2\\x.efi": program("x"),
        DEFAULT: program("fernwick"),
        "\\EFI\\fernwick\\menu.conf": text(),
    }
    variables = {"BootNext": b"\1\0", "OsIndications": bytes(8), "Timeout": b"\3\0"}
    volumes = ((HALL, 1, files), (ATTIC, 1, {QUARRY: program("quarry")}))
    return state(volumes, entries=BOTH, order=(1, 0, 7), variables=variables)


def order_of(one: State) -> tuple[int, ...] | None:
    variable = one.variable("BootOrder")
    return struct.unpack(f"<{len(variable.data) // 2}H", variable.data) if variable else None


@pytest.mark.parametrize(
    "alter",
    [
        altered.usual,
        lambda one: altered.without_entry(one, 0),
        altered.without_order,
        altered.without_entries,
        lambda one: altered.with_first(one, 0),
        lambda one: altered.with_entry(one, BOTH[0], behind=1),
        lambda one: altered.switched_on(one, 2),
        lambda one: altered.without_file(one, VOLUME, FERNWICK),
        lambda one: altered.without_folder(one, VOLUME, "\\EFI"),
        lambda one: altered.without_volume(one, VOLUME),
        lambda one: altered.without_disk(one, "gpt:hall"),
        lambda one: altered.with_copy(one, VOLUME, program("quarry"), DEFAULT),
    ],
)
def test_the_state_itself_stays_as_it_is(alter: Callable[[State], State]) -> None:
    before = usual()
    twin = copy.deepcopy(before)
    assert alter(before) != twin
    assert before == twin


def test_an_entry_leaves_the_order_too() -> None:
    after = altered.without_entry(usual(), 1)
    assert key("Boot0001") not in after.variables and order_of(after) == (0, 7)


def test_an_order_of_nothing_is_none() -> None:
    after = usual()
    for number in (0, 1, 2, 7):
        after = altered.without_entry(after, number)
    assert order_of(after) is None


def test_a_firmware_reset_takes_entries_order_and_next_only() -> None:
    assert sorted(altered.without_entries(usual()).variables) == [key("OsIndications"), key("Timeout")]


def test_what_is_asked_for_once_is_not_usual() -> None:
    assert altered.usual(usual()).variable("BootNext") is None
    assert altered.usual(usual()).variable("OsIndications") is None
    without = altered.usual(usual())
    assert altered.usual(without) is without


def test_first_means_before_all_others_and_once() -> None:
    assert order_of(altered.with_first(usual(), 7)) == (7, 1, 0)
    assert order_of(altered.with_first(altered.without_order(usual()), 0)) == (0,)


def test_a_new_entry_takes_a_free_number_and_its_place() -> None:
    after = altered.with_entry(usual(), BOTH[0], behind=1)
    assert order_of(after) == (1, 3, 0, 7)
    assert after.variables[key("Boot0003")].data == BOTH[0]
    assert order_of(altered.with_entry(usual(), BOTH[0])) == (1, 0, 7, 3)


def test_no_number_is_free() -> None:
    full = state((), entries=dict.fromkeys(range(65536), b"x"))
    assert altered.with_entry(full, BOTH[0]) is full


def test_switching_on_lists_and_activates() -> None:
    off = option("Quarry", drive(QUARRY_PART), file(QUARRY), attributes=8)
    after = altered.switched_on(state((), entries={3: off}, order=(0,)), 3)
    assert order_of(after) == (0, 3)
    assert LoadOption.parse(after.variables[key("Boot0003")].data).attribute_names == (
        "ACTIVE",
        "HIDDEN",
        "CATEGORY_BOOT",
    )


def test_a_file_is_found_whatever_its_case() -> None:
    files = altered.without_file(usual(), VOLUME, "\\efi\\FERNWICK\\LoaderX64.efi").volumes[VOLUME].files
    assert FERNWICK not in files and "\\EFI\\fernwick\\menu.conf" in files


def test_a_folder_goes_with_what_is_in_it_and_nothing_beside_it() -> None:
    left = altered.without_folder(usual(), VOLUME, "\\EFI\\FERNWICK").volumes[VOLUME].files
    assert sorted(left) == ["\\EFI", "\\EFI\\BOOT", DEFAULT, "\\EFI\\Fernwick2", "\\EFI\\Fernwick2\\x.efi"]


def test_a_lost_volume_leaves_its_partition() -> None:
    after = altered.without_volume(usual(), VOLUME)
    assert VOLUME not in after.volumes and after.disks == usual().disks


def test_a_lost_disk_takes_its_volumes() -> None:
    after = altered.without_disk(usual(), "gpt:hall")
    assert list(after.disks) == ["gpt:attic"] and list(after.volumes) == [f"gpt:{QUARRY_PART}"]


def test_a_copy_takes_the_place_and_spelling_of_what_is_there() -> None:
    after = altered.with_copy(usual(), VOLUME, program("quarry"), DEFAULT.lower()).volumes[VOLUME]
    held = after.file(DEFAULT)
    assert held and held.path == DEFAULT and held.sha256 == program("quarry").sha256


def test_nothing_happens_where_nothing_is() -> None:
    one = usual()
    assert altered.without_file(one, VOLUME, "\\none") is one
    assert altered.without_file(one, "gpt:none", FERNWICK) is one
    assert altered.without_folder(one, "gpt:none", "\\EFI") is one
    assert altered.with_copy(one, "gpt:none", program("x"), DEFAULT) is one
    assert altered.switched_on(one, 9) is one


def test_a_made_option_is_one_that_firmware_starts() -> None:
    one = usual()
    made = option_for(one, one.volumes[VOLUME], FERNWICK, "Fernwick Linux")
    assert made
    parsed = LoadOption.parse(made)
    assert (parsed.description, parsed.problems, parsed.is_acceptable) == ("Fernwick Linux", [], True)
    # The text form of UEFI 2.10 §10.6.1.6, by hand: the partition begins at block 2048 and has 8192.
    assert str(parsed.path) == f"HD(1,GPT,{FERNWICK_PART.upper()},0x800,0x2000)/{FERNWICK}"
    bare = altered.without_entries(one)
    started = simulate(altered.with_entry(bare, made)).next_start
    assert (started.entry, started.volume, started.file) == ("Boot0000", VOLUME, FERNWICK)


def test_a_made_option_for_an_mbr_disk() -> None:
    part = Partition(2, "mbr:8badf00d-02", "mbr:ef", 2048, 10239)
    made = option_for(*numbered(part, 2), FERNWICK, "x")
    assert made and str(LoadOption.parse(made).path) == f"HD(2,MBR,0x8BADF00D,0x800,0x2000)/{FERNWICK}"


def test_no_option_for_a_disk_without_a_table_or_a_path_without_end() -> None:
    part = HALL.partitions[0]
    assert option_for(*numbered(part, 1), "\\" + "x" * 40000, "x") is None
    assert option_for(*numbered(part, None), FERNWICK, "x") is None
    assert option_for(*numbered(replace(part, identifier="gpt:no-guid"), 1), FERNWICK, "x") is None
    assert option_for(*numbered(replace(part, identifier="at:here"), 1), FERNWICK, "x") is None


def numbered(part: Partition, number: int | None) -> tuple[State, Volume]:
    """A machine whose first disk has this partition only, and the volume said to lie in that number."""
    one = usual()
    disks = {**one.disks, "gpt:hall": replace(HALL, partitions=(part,))}
    return replace(one, disks=disks), replace(one.volumes[VOLUME], number=number)
