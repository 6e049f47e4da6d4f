"""What a change leads to at the next switch-on, in situations written down by hand."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import replace

import pytest

from bootwatch.judge.drift import compare
from bootwatch.judge.naming import Naming
from bootwatch.judge.weigh import Rule, Weights
from bootwatch.model.change import Change, Drift
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.level import Level
from bootwatch.model.snapshot import Circumstance, Moment, Snapshot, State
from bootwatch.model.volume import File
from tests.judge import states
from tests.judge.dual import ATTIC, ENTRIES, HALL, ON_ATTIC, ON_HALL, TO_FERNWICK, TO_QUARRY
from tests.judge.paths import ROOT, drive, file, option, pci
from tests.judge.states import (
    DEFAULT,
    FERNWICK,
    FERNWICK_PART,
    QUARRY,
    QUARRY_PART,
    STICK,
    TARN_PART,
    VIRTIO,
    disk,
    program,
    state,
)


def machine(
    hall: Mapping[str, File] = ON_HALL,
    attic: Mapping[str, File] = ON_ATTIC,
    *,
    entries: Mapping[int, bytes] = ENTRIES,
    order: tuple[int, ...] | None = (0, 1),
    more: states.Volumes = (),
    **variables: bytes,
) -> State:
    volumes = ((HALL, 1, hall), (ATTIC, 1, attic), *more)
    return state(volumes, entries=entries, order=order, variables=variables)


def drift(
    before: State,
    now: State,
    gaps: tuple[Gap, ...] = (),
    weights: Weights | None = None,
    names: Naming | None = None,
) -> Drift:
    circumstance = Circumstance(boot_id=None, moment=Moment.ASKED, time="2026-03-14T02:00:00Z")
    return compare(before, (), Snapshot(circumstance, now, gaps), weights=weights, names=names).drift


def levels(found: Drift) -> dict[str, str]:
    return {change.change: change.level.value for change in found.changes}


def only(found: Drift) -> Change:
    (change,) = found.changes
    return change


def without(contents: Mapping[str, File], *paths: str) -> dict[str, File]:
    return {path: one for path, one in contents.items() if path not in paths}


def test_a_lost_entry_of_a_system_with_another_way() -> None:
    """Quarry comes first in this order, so what starts next stays the same."""
    before = machine(order=(1, 0))
    change = only(drift(before, machine(order=(1,), entries={1: TO_QUARRY})))
    assert (change.level, change.system) == (Level.WEAKENED, "Fernwick Linux")
    assert change.consequence == (
        f"Fernwick Linux still starts, through the default file {DEFAULT}; one way to it is gone."
    )


def test_the_last_way() -> None:
    change = only(drift(machine(), machine(order=(0,), entries={0: TO_FERNWICK})))
    assert (change.level, change.system) == (Level.STRANDED, "Quarry")
    assert change.consequence == "Quarry would not start any more: no way to it is left."


def test_two_losses_that_strand_together() -> None:
    """Each alone would leave a way."""
    before = machine(order=(1, 0))
    now = machine(without(ON_HALL, DEFAULT), order=(1,), entries={1: TO_QUARRY})
    assert levels(drift(before, now)) == {"entry-missing": "stranded", "loader-missing": "stranded"}


@pytest.mark.parametrize("content", [states.text(size=0), states.text(), program("x", declared=9000)])
def test_a_loader_that_is_there_and_cannot_run_is_a_lost_way(content: File) -> None:
    change = only(drift(machine(), machine(attic={QUARRY: content})))
    assert (change.level, change.system) == (Level.STRANDED, "Quarry")


def test_another_partition_identifier_is_all_it_takes() -> None:
    other = disk("attic", TARN_PART, address=VIRTIO.format(5, 5))
    now = state(((HALL, 1, ON_HALL), (other, 1, ON_ATTIC)), entries=ENTRIES, order=(0, 1))
    change = only(drift(machine(), now))
    assert (change.change, change.level, change.system) == ("partition-reidentified", "stranded", "Quarry")


def test_a_type_alone_is_a_safeguard() -> None:
    retyped = states.with_type(ATTIC, "ebd0a0a2-b9e5-4433-87c0-68b6b72699c7")
    now = state(((HALL, 1, ON_HALL), (retyped, 1, ON_ATTIC)), entries=ENTRIES, order=(0, 1))
    assert levels(drift(machine(), now)) == {"partition-retyped": "weakened"}


def test_an_order_that_leaves_the_next_start_is_worth_knowing() -> None:
    entries = {**ENTRIES, 2: option("Fernwick Linux, quiet", drive(FERNWICK_PART), file(FERNWICK), data=b"q")}
    before, now = machine(entries=entries, order=(0, 1, 2)), machine(entries=entries, order=(2, 0, 1))
    change = only(drift(before, now))
    assert (change.change, change.level) == ("order-changed", Level.CHANGED)
    assert change.consequence == "Entries are tried in another order; Fernwick Linux still starts next."


def test_an_order_that_puts_another_system_first() -> None:
    change = only(drift(machine(), machine(order=(1, 0))))
    assert (change.level, change.system) == (Level.DIVERTED, "Fernwick Linux")
    assert change.consequence == "At the next switch-on Quarry would start instead of Fernwick Linux."


def test_once_is_apart_from_the_order() -> None:
    """What is set for one start hides nothing of what comes after it."""
    found = drift(machine(), machine(order=(1, 0), BootNext=b"\x00\x00"))
    assert levels(found) == {"order-changed": "diverted", "next-set": "changed"}
    found = drift(machine(), machine(BootNext=b"\x01\x00"))
    assert levels(found) == {"next-set": "diverted"}
    assert only(found).consequence.endswith("instead of Fernwick Linux, this once.")


@pytest.mark.parametrize("number", [b"\x00\x00", b"\x63\x00"])
def test_once_where_it_makes_no_difference(number: bytes) -> None:
    """For the usual entry, or for one that doesn't exist."""
    change = only(drift(machine(), machine(BootNext=number)))
    assert change.level is Level.CHANGED
    assert change.consequence == "It is tried before the boot order, once; Fernwick Linux still starts next."


def test_nothing_starts_as_usual_where_another_system_was_asked_for_once() -> None:
    entries = {**ENTRIES, 2: option("Fernwick Linux, quiet", drive(FERNWICK_PART), file(FERNWICK), data=b"q")}
    before = machine(entries=entries, order=(0, 1, 2))
    found = drift(before, machine(entries=entries, order=(2, 0, 1), BootNext=b"\x01\x00"))
    assert levels(found) == {"order-changed": "changed", "next-set": "diverted"}
    assert not any("still starts next" in change.consequence for change in found.changes)


def test_a_default_file_taken_over() -> None:
    """Nothing but the default file starts Fernwick Linux, and Quarry's update puts its own loader there."""
    hall = {FERNWICK: program("fernwick"), DEFAULT: program("fernwick")}
    before = machine(hall, order=(), entries=ENTRIES)
    now = machine({**hall, DEFAULT: program("quarry")}, order=(), entries=ENTRIES)
    change = only(drift(before, now))
    assert (change.change, change.level) == ("loader-changed", Level.DIVERTED)
    assert "Quarry would start instead of Fernwick Linux" in change.consequence


def test_a_dead_entry_that_goes_took_nothing() -> None:
    dead = option("Cellar", drive(FERNWICK_PART), file("\\EFI\\cellar\\gone.efi"))
    before = machine(entries={**ENTRIES, 5: dead}, order=(0, 1, 5))
    change = only(drift(before, machine()))
    assert (change.change, change.level) == ("entry-missing", Level.CHANGED)
    assert change.consequence.startswith(
        "No way to start a system is lost by it: Fernwick Linux (followed to"
    )


def test_a_disk_that_hangs_elsewhere_moves_what_entries_name_in_full() -> None:
    full = option("Quarry", ROOT, pci(5), drive(QUARRY_PART), file(QUARRY))
    moved = replace(ATTIC, address=VIRTIO.format(9, 9))
    before = machine(entries={0: TO_FERNWICK, 1: full})
    now = state(((HALL, 1, ON_HALL), (moved, 1, ON_ATTIC)), entries={0: TO_FERNWICK, 1: full}, order=(0, 1))
    change = only(drift(before, now))
    assert (change.change, change.level, change.system) == ("entry-retargeted", "stranded", "Quarry")


def test_a_stick_that_is_gone_strands_nobody() -> None:
    stick = disk("stick", TARN_PART, address=STICK.format(1), removable=True)
    before = machine(more=((stick, 1, {DEFAULT: program("tarn")}),))
    change = only(drift(before, machine()))
    assert (change.change, change.level) == ("volume-missing", Level.ROUTINE)


def test_the_firmwares_own_entries_come_and_go() -> None:
    mark = bytes.fromhex("4eac0881119f594d850ee21a522c59b2")
    made = option("UEFI Misc Device", ROOT, pci(4), data=mark)
    before = machine(entries={**ENTRIES, 7: made}, order=(0, 1, 7))
    assert levels(drift(before, machine())) == {"entry-missing": "routine"}
    assert levels(drift(machine(), before)) == {"entry-added": "routine"}


def test_a_program_beside_the_loader_is_a_safeguard() -> None:
    """What a loader loads in turn by a name of its own can't be seen from outside."""
    stage = "\\EFI\\quarry\\second.efi"
    before = machine(attic={**ON_ATTIC, stage: program("second stage")})
    change = only(drift(before, machine()))
    assert (change.change, change.level, change.system) == ("file-missing", "weakened", "Quarry")


@pytest.mark.parametrize(
    "gap",
    [
        Gap("volume", f"gpt:{QUARRY_PART}", Reason.UNREADABLE, "input/output error"),
        Gap("disk", "vdb", Reason.DENIED, "permission denied"),
    ],
)
def test_what_could_not_be_read_strands_nobody(gap: Gap) -> None:
    seen = state(
        ((HALL, 1, ON_HALL),), entries=ENTRIES, order=(0, 1), disks=() if gap.kind == "disk" else (ATTIC,)
    )
    assert levels(drift(machine(), seen, (gap,))) == {}


def test_an_unread_volume_may_hold_another_way() -> None:
    """The entry is gone for certain; whether a default file is left to Quarry is not known."""
    gap = Gap("volume", f"gpt:{QUARRY_PART}", Reason.UNREADABLE, "input/output error")
    seen = state(((HALL, 1, ON_HALL),), entries={0: TO_FERNWICK}, order=(0,), disks=(ATTIC,))
    change = only(drift(machine(), seen, (gap,)))
    assert (change.change, change.level) == ("entry-missing", Level.WEAKENED)
    assert "could not be told" in change.consequence


def test_the_settings_have_the_last_word() -> None:
    weights = Weights((Rule(Level.ROUTINE, change="order-changed"), Rule(Level.CHANGED, system="quarry")))
    assert levels(drift(machine(), machine(order=(1, 0)), weights=weights)) == {"order-changed": "routine"}
    lost = machine(order=(0,), entries={0: TO_FERNWICK})
    assert levels(drift(machine(), lost, weights=weights)) == {"entry-missing": "changed"}


MENU = "\\EFI\\fernwick\\menu.cfg"
TO_ITSELF = 'menuentry "Fernwick Linux" {\n  linux /kernel quiet\n}\n'
TO_THE_OTHER = """\
menuentry "Quarry" {
  search --fs-uuid --set=root ABCD-0001
  chainloader /EFI/quarry/startx64.efi
}
"""


def with_menu(text: str, entries: Mapping[int, bytes] = ENTRIES) -> State:
    """Fernwick Linux's loader has a start menu; the volume's serial number tells which volume is Quarry's."""
    digest = hashlib.sha256(text.encode()).hexdigest()
    config = File("", len(text), "", digest)
    seen = machine({**ON_HALL, MENU: config, "\\kernel": program("kernel")}, entries=entries)
    identity = f"gpt:{QUARRY_PART}"
    volumes = {**seen.volumes, identity: replace(seen.volumes[identity], serial="ABCD-0001")}
    return replace(seen, volumes=volumes, texts={digest: text.encode()})


def test_a_start_menu_that_no_longer_leads_to_the_other_system() -> None:
    change = only(drift(with_menu(TO_ITSELF + TO_THE_OTHER), with_menu(TO_ITSELF)))
    assert (change.change, change.level, change.system) == ("file-changed", "weakened", "Quarry")
    assert change.consequence == 'Quarry still starts, through the entry "Quarry"; one way to it is gone.'


def test_a_start_menu_can_be_the_last_way() -> None:
    entries = {0: TO_FERNWICK}
    before = with_menu(TO_ITSELF + TO_THE_OTHER)
    assert levels(drift(before, with_menu(TO_ITSELF + TO_THE_OTHER, entries=entries))) == {
        "entry-missing": "weakened"
    }
    assert levels(drift(before, with_menu(TO_ITSELF, entries=entries))) == {
        "entry-missing": "stranded",
        "file-changed": "stranded",
    }


def test_a_kernel_that_the_start_menu_names() -> None:
    before = with_menu(TO_ITSELF)
    identity = f"gpt:{FERNWICK_PART}"
    left = {path: one for path, one in before.volumes[identity].files.items() if path != "\\kernel"}
    now = replace(before, volumes={**before.volumes, identity: replace(before.volumes[identity], files=left)})
    change = only(drift(before, now))
    assert (change.change, change.level, change.system) == ("file-missing", "stranded", "Fernwick Linux")


def test_a_loss_that_no_change_explains() -> None:
    """The firmware is set to 32 bits: nothing on the disks differs, and nothing on them can run."""
    before = machine(order=(), entries={})
    now = replace(before, facts={**before.facts, "firmware_bits": 32})
    found = drift(before, now)
    assert found.changes == ()
    assert [(one.finding, one.level) for one in found.findings] == [("no-way-left", Level.STRANDED)]


def test_a_level_that_the_config_moved_comes_back_as_no_finding() -> None:
    weights = Weights((Rule(Level.CHANGED, change="entry-missing"),))
    found = drift(machine(), machine(order=(0,), entries={0: TO_FERNWICK}), weights=weights)
    assert levels(found) == {"entry-missing": "changed"}
    assert found.findings == ()


CONF = "\\loader\\entries\\fernwick.conf"


def with_entries(*, conf: str | None = "title Fernwick Linux\nlinux /vmlinuz\n", kernel: File) -> State:
    """Fernwick Linux's loader with an entry of its own (UAPI Boot Loader Specification)."""
    digest = hashlib.sha256((conf or "").encode()).hexdigest()
    own = {CONF: File("", len(conf), "", digest)} if conf else {}
    held = machine({**ON_HALL, **own, "\\vmlinuz": kernel})
    return replace(held, texts={digest: (conf or "").encode()})


@pytest.mark.parametrize(
    ("now", "name"),
    [
        (with_entries(conf=None, kernel=program("kernel")), "file-missing"),
        (with_entries(kernel=states.text()), "file-changed"),
    ],
)
def test_a_loader_that_may_find_no_kernel_any_more(now: State, name: str) -> None:
    change = only(drift(with_entries(kernel=program("kernel")), now))
    assert (change.change, change.level, change.system) == (name, Level.WEAKENED, "Fernwick Linux")
