"""What a restore would do about single damages, on states written down by hand."""

from __future__ import annotations

import hashlib
from dataclasses import replace

import pytest

from bootwatch.judge import altered
from bootwatch.judge.entries import read_entries, read_order
from bootwatch.judge.outlook import How
from bootwatch.judge.weigh import Rule, Weights
from bootwatch.model.level import Level
from bootwatch.model.snapshot import State
from bootwatch.model.volume import ENTRIES_FOLDER, File, Program
from bootwatch.problem import Problem
from bootwatch.recover.allowed import require_allowed
from bootwatch.recover.plan import Plan
from bootwatch.recover.proposals import questions
from bootwatch.recover.relocate import relocated
from bootwatch.recover.steps import WriteEntry, WriteFile
from tests.judge.dual import ATTIC, ENTRIES, HALL, ON_ATTIC, ON_HALL
from tests.judge.paths import drive, file, node, option
from tests.judge.states import DEFAULT, FERNWICK, QUARRY, VIRTIO, X64, digest, disk, program, state, text
from tests.recover.plans import (
    DAMAGES,
    NEW_PART,
    ON_FERNWICK,
    ON_QUARRY,
    Damage,
    emptied,
    made_anew,
    overwritten,
    planned,
    reidentified,
    renumbered,
    whole,
)

BESIDE = "\\EFI\\fernwick\\settings.conf"
MENU = f"{ENTRIES_FOLDER}\\fernwick.conf"
PCI_ROOT = node(2, 1, bytes.fromhex("d041030a00000000"))


def how(found: Plan) -> dict[str, str]:
    return {one.name: one.how.value for one in found.then.systems}


@pytest.mark.parametrize("name", DAMAGES)
def test_both_start_again(name: str) -> None:
    found = planned(DAMAGES[name](whole()))
    assert how(found) == {"Fernwick Linux": How.BY_ITSELF, "Quarry": How.BY_ITSELF}
    assert found.then.next_system and found.then.next_system.name == "Fernwick Linux"
    assert planned(found.state).steps == ()


def test_an_entry_follows_its_partition_to_another_number() -> None:
    found = planned(renumbered(whole()))
    (step,) = found.steps
    assert isinstance(step, WriteEntry)
    # UEFI 2.10 §10.3.5.1: the partition's number is the node's first field, behind its header.
    former = ENTRIES[0]
    at = former.index(b"\x04\x01\x2a\x00") + 4
    assert step.data == former[:at] + b"\x07\0\0\0" + former[at + 4 :]


def test_an_entry_follows_its_partition_to_another_identifier() -> None:
    (step,) = planned(reidentified(whole())).steps
    assert isinstance(step, WriteEntry)
    entry = read_entries(step.after(whole()))[step.number]
    assert (entry.label, entry.volume, entry.file) == ("Quarry", f"gpt:{NEW_PART}", QUARRY)


def test_optional_data_and_attributes_stay() -> None:
    own = option("Quarry", drive(ON_QUARRY[4:]), file(QUARRY), attributes=9, data=b"QRY1")
    before = state(((HALL, 1, ON_HALL), (ATTIC, 1, ON_ATTIC)), entries={**ENTRIES, 1: own}, order=(0, 1))
    (step,) = planned(reidentified(before), before).steps
    assert isinstance(step, WriteEntry)
    assert (step.data[:4], step.data[-4:]) == (b"\x09\0\0\0", b"QRY1")


def test_a_way_to_a_disk_that_is_attached_elsewhere_is_left_out() -> None:
    long_form = option("Quarry", PCI_ROOT, node(1, 1, b"\0\5"), drive(ON_QUARRY[4:]), file(QUARRY))
    entries = {0: ENTRIES[0], 1: long_form}
    before = state(((HALL, 1, ON_HALL), (ATTIC, 1, ON_ATTIC)), entries=entries, order=(0, 1))
    moved = replace(ATTIC, address=VIRTIO.format(9, 9))
    found = planned(replace(before, disks={**before.disks, ATTIC.key: moved}), before)
    assert [step.data for step in found.steps if isinstance(step, WriteEntry)] == [ENTRIES[1]]


def test_files_come_back_to_the_partition_that_was_made_anew() -> None:
    found = planned(made_anew(whole()))
    (step,) = (step for step in found.steps if isinstance(step, WriteFile))
    assert (step.volume, step.file.path) == (f"gpt:{NEW_PART}", QUARRY)
    assert [one.change.change for one in found.left] == []


def test_a_volume_of_which_not_all_comes_back_is_told() -> None:
    found = planned(DAMAGES["volume emptied"](whole()), without={digest("fernwick")})
    told = {one.change.change: one.why for one in found.left}
    assert told["volume-reformatted"] == "not all that lay on it comes back"
    assert told["loader-missing"] == "no copy of it was kept"


def on_a_new_disk() -> State:
    """Quarry's disk replaced, and its file system copied to a new partition there."""
    new = disk("shelf", NEW_PART, address=VIRTIO.format(6, 6))
    now = state(((HALL, 1, ON_HALL), (new, 1, ON_ATTIC)), entries=ENTRIES, order=(0, 1))
    return now


def test_a_replaced_disk_is_asked_about_and_not_taken_for_granted() -> None:
    now = on_a_new_disk()
    lost = relocated(whole(), now.disks).lost
    (question,) = questions(lost, whole(), now)
    assert (question.was, question.now) == (ON_QUARRY, f"gpt:{NEW_PART}")
    assert question.why == "1 of 1 files are the same, the same size"
    assert not any(isinstance(step, WriteEntry) for step in planned(now).steps)
    found = planned(now, mapped={ON_QUARRY: f"gpt:{NEW_PART}"})
    assert how(found)["Quarry"] == How.BY_ITSELF


def test_no_volume_of_the_baseline_is_taken_for_another_one() -> None:
    now = altered.without_volume(on_a_new_disk(), f"gpt:{NEW_PART}")
    placed = relocated(whole(), now.disks, {ON_QUARRY: ON_FERNWICK})
    assert [one.identity for one in placed.lost] == [ON_QUARRY]
    assert placed.state == whole()


def test_what_takes_the_only_way_of_another_system_waits_for_its_own() -> None:
    """Quarry starts only from the default file that it took, which is put back once its loader is there."""
    found = planned(DAMAGES["default file taken"](whole()))
    assert [step.file.path for step in found.steps if isinstance(step, WriteFile)] == [QUARRY, DEFAULT]
    kept = planned(DAMAGES["default file taken"](whole()), without={digest("quarry")})
    assert [step.file.path for step in kept.steps if isinstance(step, WriteFile)] == []
    assert "it would keep another system from starting" in {one.why for one in kept.left}


@pytest.mark.parametrize("others", [0, 100, pytest.param(500, marks=pytest.mark.long)])
def test_what_else_a_system_needs_comes_back_with_it(others: int) -> None:
    """Of files that the settings keep quiet of, those come back without which it would not start, and none of
    the ``others``, which are newer ones by now."""
    reads = replace(program("fernwick"), program=Program(X64, 10, 1000, mentions=(ENTRIES_FOLDER,)))
    entry = b"title Fernwick\nlinux /linux\n"
    held = {
        **{FERNWICK: reads, "\\linux": program("linux"), "\\notes.txt": text("notes")},
        MENU: File("", len(entry), "", hashlib.sha256(entry).hexdigest()),
        **{f"\\tools\\{number}.efi": program(f"tool {number}") for number in range(others)},
    }
    before = state(((HALL, 1, held), (ATTIC, 1, ON_ATTIC)), entries=ENTRIES, order=(0, 1))
    before = replace(before, texts={hashlib.sha256(entry).hexdigest(): entry})
    quiet = ("file-missing", "file-changed", "loader-changed")
    weights = Weights([Rule(Level.ROUTINE, name) for name in quiet])
    now = altered.without_folder(before, ON_FERNWICK, "\\EFI")
    for path in (MENU, "\\linux", "\\notes.txt"):
        now = altered.without_file(now, ON_FERNWICK, path)
    for number in range(others):
        now = overwritten(now, ON_FERNWICK, f"\\tools\\{number}.efi", f"newer {number}")
    found = planned(replace(now, texts={}), before, weights=weights)
    back = {step.file.path for step in found.steps if isinstance(step, WriteFile)}
    assert back == {FERNWICK, MENU, "\\linux"}
    assert how(found)["Fernwick Linux"] == How.BY_ITSELF


@pytest.mark.parametrize(
    ("lose", "back"),
    [
        (lambda now: altered.without_folder(now, ON_FERNWICK, "\\EFI\\fernwick"), [BESIDE, FERNWICK]),
        (lambda now: emptied(now, ON_FERNWICK), [BESIDE, DEFAULT, FERNWICK, "\\notes.txt"]),
        (lambda now: altered.without_file(now, ON_FERNWICK, BESIDE), []),
    ],
)
def test_what_lay_beside_a_loader_comes_back_with_it(lose: Damage, back: list[str]) -> None:
    """Though nobody missed it; what lay elsewhere only where the file system is a new one."""
    held = {**ON_HALL, BESIDE: text("settings"), "\\notes.txt": text("notes")}
    before = state(((HALL, 1, held), (ATTIC, 1, ON_ATTIC)), entries=ENTRIES, order=(0, 1))
    found = planned(lose(before), before)
    assert sorted(step.file.path for step in found.steps if isinstance(step, WriteFile)) == sorted(back)
    without = planned(lose(before), before, without={digest("settings")})
    told = {one.change.scope["path"]: one.why for one in without.left}
    assert told.get(BESIDE, "").startswith("no copy of such a file is kept") == bool(back)


@pytest.mark.parametrize("place", ["gpt:" + NEW_PART, ON_FERNWICK])
def test_root_finds_itself_where_a_volume_is(place: str) -> None:
    """A plan for a place that today's partition tables don't bear out is refused."""
    now = made_anew(whole())
    steps = [
        replace(step, volume=place) if isinstance(step, WriteFile) else step for step in planned(now).steps
    ]
    if place == ON_FERNWICK:
        with pytest.raises(Problem):
            require_allowed(steps, relocated(whole(), now.disks).state, now.variables)
    else:
        require_allowed(steps, relocated(whole(), now.disks).state, now.variables)
        with pytest.raises(Problem):
            require_allowed(steps, relocated(whole(), whole().disks).state, now.variables)


def test_no_entry_that_it_does_not_know_leaves_the_order() -> None:
    stick = option("Tarn Rescue", drive(NEW_PART), file("\\x.efi"))
    now = altered.with_entry(altered.without_entry(whole(), 0), stick)
    assert set(read_order(now)) <= set(read_order(planned(now).state))


def test_another_loader_that_would_start_is_named_and_put_back_when_asked() -> None:
    now = DAMAGES["loader replaced"](whole())
    found = planned(now)
    (left,) = found.left
    assert found.steps == () and left.why.endswith(f": --also {left.change.id}")
    again = planned(now, also=[left.change.id])
    assert [step.file.path for step in again.steps if isinstance(step, WriteFile)] == [QUARRY]
    assert again.left == ()
