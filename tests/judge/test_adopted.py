"""Taking single differences over into a baseline: that one is gone, every other one stays."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace

import pytest

from bootwatch.judge.adopted import ONCE, Adopted, HangTogether, mark
from bootwatch.judge.entries import read_entries, read_order
from bootwatch.judge.meanings import CHANGES
from bootwatch.model.disk import Disk
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.snapshot import State
from bootwatch.model.variable import key
from tests.judge import states
from tests.judge.adoptions import (
    FERNWICK_ENTRY,
    HAPPENINGS,
    NEW_ENTRY,
    NEW_PART,
    NOTES,
    QUARRY_ENTRY,
    TARN,
    TARN_ENTRY,
    adoption,
    baseline,
    besides,
    ids,
    left,
    variables,
    with_file,
    with_stick,
    with_volume,
    without_volume,
)
from tests.judge.installed import (
    ATTIC,
    ATTIC_1,
    HALL,
    HALL_1,
    HALL_2,
    STICK,
    STICK_1,
    entry,
    program,
)
from tests.judge.paths import ROOT, option, pci
from tests.judge.test_systems_stay import some_state


def test_every_change_can_happen_here() -> None:
    assert set(HAPPENINGS) | {ONCE} == set(CHANGES)


@pytest.mark.parametrize("name", HAPPENINGS)
def test_one_is_taken_and_the_others_stay(name: str) -> None:
    case = adoption(besides(HAPPENINGS[name](baseline())))
    assert sorted(change.change for change in case.changes) == sorted([name, "file-added", "keys-changed"])
    own = next(change for change in case.changes if change.change == name and "another" not in change.where)
    if name == "keys-changed":
        own = next(change for change in case.changes if change.change == name and change.where == "dbx")
    found = case.of([own.id])
    assert {change.id for change in left(case, found)} == {change.id for change in case.changes} - {own.id}
    assert State.from_parts(found.state.parts()) == found.state


@pytest.mark.parametrize("name", HAPPENINGS)
def test_the_others_are_taken_and_one_stays(name: str) -> None:
    case = adoption(besides(HAPPENINGS[name](baseline())))
    others = [change.id for change in case.changes if change.where == "db" or "another" in change.where]
    expected = {change.id for change in case.changes} - set(others)
    found = case.of(others)
    assert {change.id for change in left(case, found)} == expected
    # All that is the change's own is as the baseline had it.
    assert besides(baseline()) == found.state


@pytest.mark.parametrize("name", HAPPENINGS)
def test_all_is_taken(name: str) -> None:
    now = HAPPENINGS[name](baseline())
    case = adoption(now)
    found = case.of([change.id for change in case.changes])
    assert replace(found.state, texts=now.texts) == now


def test_nothing_is_taken() -> None:
    assert adoption(HAPPENINGS["order-changed"](baseline())).of([]).state == baseline()


def test_what_is_not_there_or_holds_once_is_refused() -> None:
    case = adoption(variables(baseline(), BootNext=b"\2\0"))
    with pytest.raises(ValueError, match="next-set"):
        case.of(ids(case, "next-set"))
    with pytest.raises(ValueError, match="nobody"):
        case.of(["nobody"])


# entries and their order


def numbers(found: Adopted) -> tuple[dict[int, str], list[int]]:
    return {number: one.label for number, one in read_entries(found.state).items()}, read_order(found.state)


def test_an_entry_that_is_gone_leaves_the_order() -> None:
    case = adoption(HAPPENINGS["entry-missing"](baseline()))
    labels, order = numbers(case.of(ids(case, "entry-missing")))
    assert (labels, order) == ({0: "Fernwick Linux", 1: "Quarry"}, [0, 1])


def test_a_new_entry_comes_last_until_the_order_is_taken_too() -> None:
    case = adoption(variables(baseline(), Boot0007=NEW_ENTRY, BootOrder=b"\7\0\0\0\1\0\2\0"))
    found = case.of(ids(case, "entry-added"))
    assert read_order(found.state) == [0, 1, 2, 7]
    assert [change.change for change in left(case, found)] == ["order-changed"]
    found = case.of(ids(case, "entry-added", "order-changed"))
    assert read_order(found.state) == [7, 0, 1, 2]
    with pytest.raises(HangTogether) as error:
        case.of(ids(case, "order-changed"))
    assert error.value.also == tuple(ids(case, "entry-added"))


def test_the_order_is_taken_and_an_entry_that_is_gone_keeps_its_place() -> None:
    case = adoption(variables(baseline(), Boot0001=None, BootOrder=b"\2\0\0\0"))
    found = case.of(ids(case, "order-changed"))
    assert read_order(found.state) == [2, 0, 1]
    assert [change.change for change in left(case, found)] == ["entry-missing"]


def test_what_is_gone_from_the_front_stays_in_front() -> None:
    case = adoption(variables(baseline(), Boot0000=None, BootOrder=b"\2\0\1\0"))
    assert read_order(case.of(ids(case, "order-changed")).state) == [0, 2, 1]


def test_where_an_entry_leads_is_taken_with_its_data() -> None:
    now = entry("Fernwick Linux", states.FERNWICK_PART, states.DEFAULT, b"quiet")
    case = adoption(variables(baseline(), Boot0000=now))
    assert [change.change for change in case.changes] == ["entry-retargeted"]
    assert case.of(ids(case, "entry-retargeted")).state.variables[key("Boot0000")].data == now


def test_a_renumbered_entry_keeps_its_place_in_the_order() -> None:
    case = adoption(HAPPENINGS["entry-renumbered"](baseline()))
    labels, order = numbers(case.of(ids(case, "entry-renumbered")))
    assert (sorted(labels), order) == ([1, 2, 0xAB], [0xAB, 1, 2])


def test_entries_that_swapped_their_numbers_hang_together() -> None:
    now = variables(baseline(), Boot0000=QUARRY_ENTRY, Boot0001=FERNWICK_ENTRY, BootOrder=b"\1\0\0\0\2\0")
    case = adoption(now)
    one, other = ids(case, "entry-renumbered")
    with pytest.raises(HangTogether) as error:
        case.of([one])
    assert error.value.also == (other,)
    assert numbers(case.of([one, other]))[0] == {0: "Quarry", 1: "Fernwick Linux", 2: "Tarn Rescue"}


def test_no_more_is_said_to_hang_together_than_does() -> None:
    """Three entries in a circle; beside them another one's label, a new one, and what holds once."""
    before = variables(baseline(), Boot0005=NEW_ENTRY)
    now = variables(
        before, Boot0000=TARN_ENTRY, Boot0001=FERNWICK_ENTRY, Boot0002=QUARRY_ENTRY, BootNext=b"\2\0"
    )
    relabelled = entry("Cellar", states.QUARRY_PART, "\\EFI\\cellar\\tool.efi")
    case = adoption(variables(now, Boot0005=relabelled, Boot0007=QUARRY_ENTRY), before)
    one, *others = ids(case, "entry-renumbered")
    with pytest.raises(HangTogether) as error:
        case.of([one])
    assert error.value.also == tuple(others)


def test_an_entry_that_took_the_number_of_another_hangs_together_with_it() -> None:
    case = adoption(variables(baseline(), Boot0002=NEW_ENTRY))
    with pytest.raises(HangTogether) as error:
        case.of(ids(case, "entry-added"))
    assert error.value.also == tuple(ids(case, "entry-missing"))


def test_of_one_entry_only_what_is_named_is_taken() -> None:
    now = entry("Quarry 12", states.QUARRY_PART, states.QUARRY, b"QRY2", attributes=0)
    case = adoption(variables(baseline(), Boot0001=now))
    found = case.of(ids(case, "entry-relabelled"))
    kept = entry("Quarry 12", states.QUARRY_PART, states.QUARRY, b"QRY1")
    assert found.state.variables[key("Boot0001")].data == kept
    names = sorted(change.change for change in left(case, found))
    assert names == ["entry-data-changed", "entry-inactive"]


def test_one_of_two_equal_entries() -> None:
    before = variables(baseline(), Boot0009=TARN_ENTRY)
    case = adoption(variables(baseline(), Boot0002=None, BootOrder=b"\0\0\1\0"), before)
    first, second = ids(case, "entry-missing")
    for own in (first, second):
        assert [change.change for change in left(case, case.of([own]))] == ["entry-missing"]


def test_a_number_that_could_not_be_read_is_no_place_to_move_from() -> None:
    """Where the entry in the way went lies in the gap, so nothing can be told of it."""
    before = variables(baseline(), Boot0001=None, BootOrder=b"\0\0\2\0")
    now = variables(before, Boot0000=None, Boot0002=FERNWICK_ENTRY)
    hole = Gap("variables", key("Boot0001"), Reason.DENIED, "")
    case = adoption(now, before, hole)
    with pytest.raises(HangTogether) as error:
        case.of(ids(case, "entry-renumbered"))
    assert error.value.also == ()


def at(disk: Disk, address: str) -> Disk:
    return replace(disk, address=address)


def test_an_entry_that_leads_nowhere_since_its_disk_moved() -> None:
    to_disk = option("Hard drive", ROOT, pci(5))
    on_attic = {states.DEFAULT: program("quarry")}
    before = states.state([(ATTIC, 1, on_attic)], entries={0: to_disk}, order=(0,))
    moved = at(ATTIC, states.VIRTIO.format(9, 9))
    now = states.state([(moved, 1, on_attic)], entries={0: to_disk}, order=(0,))
    case = adoption(now, before)
    assert [change.change for change in case.changes] == ["entry-retargeted"]
    found = case.of(ids(case, "entry-retargeted"))
    assert left(case, found) == ()
    assert found.state.variables == before.variables


# files and volumes


def test_a_text_comes_and_goes_with_its_file() -> None:
    now = with_file(baseline(), HALL_1, NOTES, states.text("other"))
    case = adoption(replace(now, texts={states.digest("other"): b"other"}))
    assert case.of([]).state.texts == {states.digest("notes"): b"notes"}
    assert case.of(ids(case, "file-changed")).state.texts == {states.digest("other"): b"other"}


def test_folders_go_with_the_last_file_in_them_and_come_with_the_first() -> None:
    gone = replace(
        baseline(), volumes={**baseline().volumes, HALL_2: replace(baseline().volumes[HALL_2], files={})}
    )
    case = adoption(gone)
    assert case.of(ids(case, "loader-missing")).state.volumes[HALL_2].files == {}
    case = adoption(baseline(), gone)
    assert case.of(ids(case, "loader-added")).state == baseline()


def test_a_count_of_tries_in_a_name_goes_with_the_content() -> None:
    old, new = "\\loader\\entries\\a+3.conf", "\\loader\\entries\\a+2-1.conf"
    before = with_file(baseline(), HALL_1, old, states.text("one"))
    case = adoption(with_file(baseline(), HALL_1, new, states.text("two")), before)
    found = case.of(ids(case, "file-changed"))
    assert left(case, found) == ()
    held = found.state.volumes[HALL_1]
    assert held.file(new) and not held.file(old)


def test_a_loader_of_an_entry_that_is_given_up_stays_open_as_a_file() -> None:
    now = with_file(HAPPENINGS["entry-missing"](baseline()), HALL_2, TARN, None)
    case = adoption(now)
    found = case.of(ids(case, "entry-missing"))
    assert [(change.change, change.scope["path"]) for change in left(case, found)] == [("file-missing", TARN)]


def test_a_volume_under_its_new_identity_keeps_what_else_differs() -> None:
    hole = Gap("volume", HALL_2, Reason.UNREADABLE, "", "\\EFI\\secret")
    now = with_volume(with_file(baseline(), HALL_2, TARN, program("tarn 2")), HALL_2, identity=NEW_PART)
    case = adoption(now, then=(hole,))
    found = case.of(ids(case, "partition-reidentified"))
    assert [change.change for change in left(case, found)] == ["file-changed"]
    assert found.gaps == (hole, replace(hole, name=NEW_PART))
    assert {part.identifier for part in found.state.disks[HALL.key].partitions} == {HALL_1, NEW_PART}


def test_what_could_not_be_read_of_a_new_volume_stays_unknown() -> None:
    hole = Gap("volume", STICK_1, Reason.UNREADABLE, "", "\\EFI\\secret")
    other = Gap("volume", HALL_1, Reason.UNREADABLE, "", "\\EFI\\secret")
    case = adoption(with_stick(baseline()), None, hole, other)
    found = case.of(ids(case, "volume-added"))
    assert found.gaps == (hole,)
    assert found.state.disks[STICK.key] == STICK


def test_a_disk_goes_with_its_last_volume() -> None:
    gone = replace(
        baseline(),
        disks={ATTIC.key: ATTIC},
        volumes={ATTIC_1: baseline().volumes[ATTIC_1]},
    )
    case = adoption(gone)
    one, other = ids(case, "volume-missing")
    found = case.of([one])
    assert [change.id for change in left(case, found)] == [other]
    assert len(found.state.disks[HALL.key].partitions) == 1
    assert case.of([one, other]).state.disks == gone.disks


def test_a_file_system_that_is_gone_leaves_its_partition() -> None:
    case = adoption(without_volume(baseline(), HALL_2, with_partition=False))
    found = case.of(ids(case, "volume-reformatted"))
    assert left(case, found) == ()
    assert HALL_2 not in found.state.volumes
    assert found.state.disks == baseline().disks


# any two states


def check_any(seed: int) -> None:
    """What is taken is gone and what isn't stays, or it is refused; all at once can be taken always."""
    pick = random.Random(seed)
    before, now = some_state(pick), some_state(pick)
    case = adoption(now, before)
    known = [change.id for change in case.changes if change.change != ONCE]
    assert left(case, case.of(known)) == ()
    some = set(pick.sample(known, len(known) // 2))
    try:
        found = case.of(some)
    except HangTogether as error:
        found = case.of(some := some | set(error.also))
    rest = Counter(mark(change) for change in case.changes if change.id not in some)
    assert Counter(map(mark, left(case, found))) == rest


@pytest.mark.parametrize("seed", range(4))
def test_any_two_states(seed: int) -> None:
    check_any(seed)


@pytest.mark.long
def test_many_more_states() -> None:
    for seed in range(4, 60):
        check_any(seed)
