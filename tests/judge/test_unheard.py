"""Whether the system that watches is the one that starts."""

from __future__ import annotations

from dataclasses import replace

from bootwatch.judge.following import starts_next
from bootwatch.judge.outlook import Outlook, outlook
from bootwatch.judge.steps import By, Route
from bootwatch.judge.systems import System, Systems
from bootwatch.judge.unheard import unheard
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.snapshot import State
from tests.judge import states
from tests.judge.dual import ATTIC, ENTRIES, HALL
from tests.judge.states import DEFAULT, FERNWICK, FERNWICK_PART, QUARRY, QUARRY_PART, VIRTIO, disk, program


def machine(order: tuple[int, ...] | None, **variables: bytes) -> State:
    volumes = ((HALL, 1, {FERNWICK: program("fernwick")}), (ATTIC, 1, {QUARRY: program("quarry")}))
    return states.state(volumes, entries=ENTRIES, order=order, variables=variables)


def seen(one: State, gaps: tuple[Gap, ...] = ()) -> tuple[Outlook, System]:
    """With Fernwick Linux as the one in which bootwatch runs."""
    systems = Systems.learn([one])
    home = next(system for system in systems.all() if system.name == "Fernwick Linux")
    return outlook(one, gaps, systems), home


def test_nothing_is_wrong_where_it_starts_next() -> None:
    found, home = seen(machine((0, 1)))
    assert starts_next(found, home) is True and unheard(found, home) is None


def test_another_system_starts_next() -> None:
    found, home = seen(machine((1, 0)))
    finding = unheard(found, home)
    assert finding
    assert (finding.finding, finding.level.value, finding.system) == ("unheard", "weakened", "Fernwick Linux")
    assert finding.what == 'Quarry, through the entry "Quarry" (Boot0001)'
    assert finding.where == f"Boot0001, gpt:{QUARRY_PART}, {QUARRY}"


def test_it_keeps_its_id_whatever_starts_instead() -> None:
    first, home = seen(machine((1, 0)))
    second, _ = seen(machine(None))
    one, other = unheard(first, home), unheard(second, home)
    assert one and other and one.id == other.id
    assert other.what == "nothing by itself"


def test_it_keeps_its_id_when_the_baseline_knows_another_place_of_the_system() -> None:
    found, home = seen(machine((1, 0)))
    one, other = unheard(found, home), unheard(found, replace(home, key="elsewhere", name="Fernwick Linux 4"))
    assert one and other and one.id == other.id


def test_where_bootwatch_runs_is_not_known() -> None:
    assert unheard(seen(machine((1, 0)))[0], None) is None


def test_what_is_asked_for_once_is_not_the_usual_way() -> None:
    found, home = seen(machine((0, 1), BootNext=b"\1\0"))
    assert found.next_start.by is By.NEXT and unheard(found, home) is None
    setup = seen(machine((0, 1), OsIndications=b"\1" + bytes(7), OsIndicationsSupported=b"\1" + bytes(7)))
    assert unheard(*setup) is None


def test_what_can_t_be_told_is_not_told() -> None:
    gap = Gap("volume", f"gpt:{QUARRY_PART}", Reason.UNREADABLE, "I/O error", "\\EFI\\quarry")
    one = machine((1, 0))
    del one.volumes[f"gpt:{QUARRY_PART}"].files[QUARRY]
    found, home = seen(one, (gap,))
    assert starts_next(found, home) is None and unheard(found, home) is None


def test_a_free_choice_between_two_of_its_own_is_no_doubt() -> None:
    """Two equal disks with a default file each: whichever the firmware takes, it is the same system."""
    clone = disk("attic", QUARRY_PART, address=VIRTIO.format(6, 6))
    volumes = (
        (HALL, 1, {FERNWICK: program("fernwick"), DEFAULT: program("fernwick")}),
        (clone, 1, {DEFAULT: program("fernwick")}),
    )
    one = states.state(volumes, entries={0: ENTRIES[0]})
    found, home = seen(one)
    assert not found.next_start.certain
    assert starts_next(found, home) is True


def test_a_menu_that_leads_on_may_start_it_by_itself() -> None:
    found, home = seen(machine((1, 0)))
    own = found.by_key[home.key]
    led = Route(
        By.MENU,
        "Boot0001",
        "Quarry",
        f"gpt:{FERNWICK_PART}",
        FERNWICK,
        starts=True,
        why="",
        unattended=False,
        through="Quarry",
    )
    others = tuple(one for one in found.systems if one is not own)
    found = replace(found, systems=(*others, replace(own, routes=(*own.routes, led))))
    assert starts_next(found, home) is None and unheard(found, home) is None
