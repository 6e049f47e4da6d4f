"""What really started, and whether a prediction came true."""

from __future__ import annotations

import struct
from dataclasses import replace

import pytest

from bootwatch.judge.entries import read_entries
from bootwatch.judge.proof import Known, judge, predict, started
from bootwatch.judge.startup import simulate
from bootwatch.model.attempt import Attempt, Origin
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.prediction import Prediction, Proof, Target
from bootwatch.model.snapshot import Circumstance, Moment, State
from bootwatch.model.variable import GLOBAL, LOADER_INTERFACE, Variable, key
from tests.judge.states import DEFAULT, FERNWICK, FERNWICK_PART, QUARRY, QUARRY_PART, disk, program, state
from tests.roots import load_option

FERNWICK_ESP, QUARRY_ESP = f"gpt:{FERNWICK_PART}", f"gpt:{QUARRY_PART}"
SPARE = "\\EFI\\fernwick\\spare.efi"
ENTRIES = {
    0: load_option("Fernwick Linux", FERNWICK_PART, FERNWICK),
    1: load_option("Quarry", QUARRY_PART, QUARRY),
    2: load_option("Fernwick spare", FERNWICK_PART, SPARE),
}
# PciRoot(0x0)/Pci(0x4,0x0): the first disk, and nothing more (UEFI 2.10 §10.3.3.1, §10.3.2.1).
_NODES = bytes.fromhex("02010c00 d041030a 00000000  01010600 0004  7fff0400")
ON_DISK = struct.pack("<IH", 1, len(_NODES)) + "Disk\0".encode("utf-16-le") + _NODES
FIRST = disk("first", FERNWICK_PART)
SECOND = disk("second", QUARRY_PART, address="pci0000:00/0000:00:05.0/virtio5")
FILES = {FERNWICK: program("fernwick"), SPARE: program("spare"), DEFAULT: program("fernwick")}


def hall(
    order: tuple[int, ...] = (0, 1), entries: dict[int, bytes] | None = None, **variables: bytes
) -> State:
    volumes = ((FIRST, 1, FILES), (SECOND, 1, {QUARRY: program("quarry")}))
    return state(volumes, entries=ENTRIES if entries is None else entries, order=order, variables=variables)


def said(
    current: int | None = None, part: str | None = None, attempts: tuple[Attempt, ...] = ()
) -> Circumstance:
    """What a start says of itself: BootCurrent, LoaderDevicePartUUID, the firmware's log."""
    variables = {}
    if current is not None:
        variables[key("BootCurrent")] = Variable(6, struct.pack("<H", current))
    if part is not None:
        data = (part.upper() + "\0").encode("utf-16-le")
        variables[key("LoaderDevicePartUUID", LOADER_INTERFACE)] = Variable(6, data)
    return Circumstance("b", Moment.BOOT, "", variables=variables, attempts=attempts)


def proof(circumstance: Circumstance, now: State, before: State | None = None) -> Proof:
    return started(circumstance, simulate(now), now, before)


def ran(volume: str | None, file: str | None, *, returned: bool = False) -> Attempt:
    return Attempt(Origin(volume, file), (), returned)


def place(found: Proof) -> tuple[str | None, str | None, str | None] | None:
    return (found.target.entry, found.target.volume, found.target.file) if found.target else None


# what started


def test_boot_current_means_what_its_entry_says() -> None:
    found = proof(said(0), hall())
    assert (place(found), found.evidence, found.doubt) == (
        ("Boot0000", FERNWICK_ESP, FERNWICK),
        ("BootCurrent",),
        "",
    )


def test_log_and_boot_current_agree() -> None:
    log = (ran(QUARRY_ESP, QUARRY, returned=True), ran(FERNWICK_ESP, FERNWICK.upper()))
    found = proof(said(0, attempts=log), hall())
    assert place(found) == ("Boot0000", FERNWICK_ESP, FERNWICK)
    assert found.evidence == ("the firmware's log", "BootCurrent")


def test_log_alone() -> None:
    found = proof(said(attempts=(ran(FERNWICK_ESP, DEFAULT),)), hall())
    assert (place(found), found.evidence) == ((None, FERNWICK_ESP, DEFAULT), ("the firmware's log",))


def test_log_against_boot_current_goes_by_the_log_and_says_so() -> None:
    found = proof(said(1, attempts=(ran(FERNWICK_ESP, FERNWICK),)), hall())
    assert place(found) == (None, FERNWICK_ESP, FERNWICK)
    assert "BootCurrent names Boot0001, which now leads elsewhere" in found.doubt


@pytest.mark.parametrize(
    "attempts",
    [(ran(QUARRY_ESP, QUARRY, returned=True),), (Attempt(None),), (ran(None, None),)],
    ids=["it came back", "nothing was loaded", "damaged event"],
)
def test_log_that_shows_no_program_leaves_it_to_boot_current(attempts: tuple[Attempt, ...]) -> None:
    assert place(proof(said(0, attempts=attempts), hall())) == ("Boot0000", FERNWICK_ESP, FERNWICK)


def test_loader_alone_shows_the_partition() -> None:
    found = proof(said(part=FERNWICK_PART), hall())
    assert (place(found), found.evidence) == ((None, FERNWICK_ESP, None), ("LoaderDevicePartUUID",))


def test_nothing_shows_it() -> None:
    assert proof(said(), hall()) == Proof(None)
    assert proof(said(part="no identifier"), hall()) == Proof(None)


def test_number_without_an_entry() -> None:
    found = proof(said(9), hall())
    assert (found.target, found.doubt) == (None, "BootCurrent names Boot0009, which does not exist.")


def test_loader_of_another_partition_was_started_by_the_first_one() -> None:
    found = proof(said(0, QUARRY_PART), hall(), hall())
    assert place(found) == ("Boot0000", FERNWICK_ESP, FERNWICK)
    assert QUARRY_ESP in found.doubt


def test_number_that_was_reused_and_a_loader_that_contradicts_show_nothing() -> None:
    before = hall(entries={0: ENTRIES[1], 1: ENTRIES[0]})
    found = proof(said(0, QUARRY_PART), hall(), before)
    assert found.target is None
    assert "Boot0000 was rewritten in between" in found.doubt


def test_number_that_was_reused_means_what_it_says_now() -> None:
    before = hall(entries={0: ENTRIES[1], 1: ENTRIES[0]})
    assert place(proof(said(0), hall(), before)) == ("Boot0000", FERNWICK_ESP, FERNWICK)
    assert place(proof(said(0, FERNWICK_PART), hall(), before)) == ("Boot0000", FERNWICK_ESP, FERNWICK)


def test_entry_that_names_only_a_disk_leads_to_its_default_file() -> None:
    found = proof(said(5), hall(entries={**ENTRIES, 5: ON_DISK}))
    assert place(found) == ("Boot0005", FERNWICK_ESP, DEFAULT)


# whether it came true


def verdict(
    before: State,
    now: State,
    circumstance: Circumstance,
    own: tuple[Target, ...] = (Target("Boot0000", FERNWICK_ESP, FERNWICK),),
    *,
    gaps: tuple[Gap, ...] = (),
    at_shutdown: bool = True,
) -> tuple[str, str]:
    prediction = predict(simulate(before, gaps), before)
    assert Prediction.from_json(prediction.to_json()) == prediction
    known = Known(before, now, own, at_shutdown)
    found = judge(prediction, proof(circumstance, now, before), known)
    return found.outcome.value, found.why


def test_it_came_true() -> None:
    assert verdict(hall(), hall(), said(0)) == (
        "right",
        f"Boot0000 ({FERNWICK} on {FERNWICK_ESP}) started.",
    )


def test_renumbered_entry_is_the_same_one() -> None:
    now = hall((7, 1), {7: ENTRIES[0], 1: ENTRIES[1]})
    assert verdict(hall(), now, said(7))[0] == "right"


def test_same_number_is_not_the_same_entry() -> None:
    """Its number is as predicted, but it leads to another loader of this system now."""
    now = hall(entries={0: ENTRIES[2], 1: ENTRIES[1]})
    outcome, why = verdict(hall(), now, said(0))
    assert outcome == "wrong"
    assert why.startswith(f"Predicted was Boot0000 ({FERNWICK} on {FERNWICK_ESP}), but Boot0000 ({SPARE} on")


def test_next_once_came_true() -> None:
    assert verdict(hall((1, 0), BootNext=b"\0\0"), hall((1, 0)), said(0))[0] == "right"


def test_fallback_came_true_by_the_log() -> None:
    empty = hall((), {})
    assert verdict(empty, empty, said(attempts=(ran(FERNWICK_ESP, DEFAULT),)))[0] == "right"


def test_fallback_through_an_entry_that_the_firmware_made() -> None:
    assert verdict(hall((), {}), hall((5,), {5: ON_DISK}), said(5))[0] == "right"


def test_chosen_by_hand_is_a_miss_and_says_what_may_be() -> None:
    outcome, why = verdict(hall(), hall(), said(2))
    assert outcome == "wrong"
    assert why.endswith("started. It may have been chosen by hand in the firmware's menu.")


def test_miss_after_the_order_was_changed_says_so() -> None:
    assert verdict(hall((0, 2)), hall((2, 0)), said(2))[1].endswith("The boot order was changed in between.")


def test_miss_without_a_look_at_the_shutdown_says_so() -> None:
    assert verdict(hall(), hall(), said(2), at_shutdown=False)[1].endswith("not taken at the shutdown.")


def test_another_system_predicted_is_never_refuted() -> None:
    outcome, why = verdict(hall((1, 0)), hall((1, 0)), said(0))
    assert outcome == "unknown"
    assert why.startswith(f"Boot0001 ({QUARRY} on {QUARRY_ESP}) was to start, which is not known as this")


def test_nothing_shows_what_started() -> None:
    assert verdict(hall(), hall(), said()) == ("unknown", "Nothing shows for certain what started.")


def test_nothing_would_start_and_yet_it_did() -> None:
    broken = hall((), {})
    del broken.volumes[FERNWICK_ESP].files[DEFAULT]
    outcome, why = verdict(broken, hall(), said(0))
    assert (outcome, why.partition(",")[0]) == ("wrong", "Predicted was nothing")


def test_setup_first_leaves_it_open() -> None:
    wish = struct.pack("<Q", 1)
    before = hall(OsIndications=wish, OsIndicationsSupported=wish)
    outcome, why = verdict(before, hall(), said(0))
    assert (outcome, why.partition(" was")[0]) == ("unknown", "The firmware's own setup")


def test_unread_variable_leaves_it_open() -> None:
    before = hall()
    del before.variables[key("Boot0000")]
    gap = Gap("variables", f"Boot0000-{GLOBAL}", Reason.UNREADABLE, "")
    assert verdict(before, hall(), said(0), gaps=(gap,))[0] == "unknown"


def test_partition_alone_shows_the_way_where_one_system_starts_from_it() -> None:
    assert verdict(hall(), hall(), said(part=FERNWICK_PART))[0] == "right"


def test_partition_alone_shows_nothing_where_two_systems_start_from_it() -> None:
    shared = {0: ENTRIES[0], 1: load_option("Quarry", FERNWICK_PART, QUARRY)}
    assert verdict(hall(entries=shared), hall(entries=shared), said(part=FERNWICK_PART))[0] == "unknown"


@pytest.mark.parametrize(
    ("file", "outcome"),
    [(SPARE, "wrong"), (DEFAULT, "wrong"), ("\\EFI\\BOOT\\other.efi", "unknown"), (QUARRY, "unknown")],
    ids=["beside it", "the same content", "everybody's folder", "another folder"],
)
def test_which_loaders_are_this_system_s(file: str, outcome: str) -> None:
    """A prediction of this system's own loader is refuted when it starts otherwise."""
    predicted = Prediction("BootOrder", Target("Boot0003", FERNWICK_ESP, file))
    found = judge(
        predicted, proof(said(0), hall()), Known(hall(), hall(), (Target(None, FERNWICK_ESP, FERNWICK),))
    )
    assert found.outcome.value == outcome


def test_what_lies_beside_a_used_default_file_is_anybody_s() -> None:
    predicted = Prediction("BootOrder", Target("Boot0003", FERNWICK_ESP, "\\EFI\\BOOT\\other.efi"))
    known = Known(hall(), hall(), (Target(None, FERNWICK_ESP, DEFAULT),))
    assert judge(predicted, proof(said(0), hall()), known).outcome.value == "unknown"


def test_one_of_two_equal_disks() -> None:
    """Where the firmware has a free choice, each of what was named is right, and nothing else."""
    named = (Target(None, FERNWICK_ESP, DEFAULT), Target(None, FERNWICK_ESP, FERNWICK))
    predicted = Prediction("fallback", named[0], certain=False, others=named)
    known = Known(hall(), hall(), (Target(None, FERNWICK_ESP, FERNWICK),))
    right = judge(predicted, proof(said(0), hall()), known)
    assert (right.outcome.value, right.why.endswith("It was one of several that were named.")) == (
        "right",
        True,
    )
    assert judge(predicted, proof(said(2), hall()), known).outcome.value == "wrong"


def test_disk_without_a_table_is_known_by_the_file_alone() -> None:
    """The log's device path has no node for a partition there."""
    predicted = Prediction("BootOrder", Target("Boot0003", "fat:CE11-A701", FERNWICK))
    found = Proof(Target(None, None, FERNWICK))
    assert judge(predicted, found, Known(hall(), hall())).outcome.value == "right"
    on_partition = replace(predicted, target=Target("Boot0000", FERNWICK_ESP, FERNWICK))
    assert judge(on_partition, found, Known(hall(), hall())).outcome.value != "right"


def test_prediction_carries_what_survives_renumbering() -> None:
    before = hall()
    assert predict(simulate(before), before).target.identity == read_entries(before)[0].identity
