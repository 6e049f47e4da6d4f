"""Entries, second routes and trials worked out from states written down by hand."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import replace

import pytest

from bootwatch.formats.boot_list import Row, parse
from bootwatch.judge import altered
from bootwatch.judge.entries import read_entries, read_order
from bootwatch.judge.naming import Naming
from bootwatch.judge.outlook import How
from bootwatch.judge.systems import Systems
from bootwatch.model.snapshot import State
from bootwatch.model.volume import File
from bootwatch.recover.propose import Proposal, propose
from bootwatch.recover.second_route import second_route
from bootwatch.recover.steps import SetNext, WriteFile, WriteOrder
from bootwatch.recover.trial import trial
from bootwatch.service.asked import Asked, Kind
from tests.judge.dual import ATTIC, ENTRIES, HALL, ON_ATTIC, ON_HALL
from tests.judge.installed import FIRMWARE_MARK
from tests.judge.paths import ROOT, option, pci
from tests.judge.states import AA64, DEFAULT, FERNWICK, QUARRY, program, state
from tests.recover.plans import ON_QUARRY, looked_at, whole

LIST = "\\EFI\\quarry\\BOOTX64.CSV"


def listing(text: str) -> File:
    data = text.encode("utf-16-le")
    return File("", len(data), "", hashlib.sha256(data).hexdigest())


def bare(on_attic: Mapping[str, File], text: str = "") -> State:
    """Fernwick starts by its entry; on the other disk lies what is given, and nothing leads there."""
    held = state(
        ((HALL, 1, {FERNWICK: program("fernwick")}), (ATTIC, 1, on_attic)),
        entries={0: ENTRIES[0]},
        order=(0,),
    )
    data = text.encode("utf-16-le")
    return replace(held, texts={hashlib.sha256(data).hexdigest(): data})


def proposed(held: State) -> Proposal:
    return propose(held, (), lambda *states: Systems.learn(states))


def labels(found: Proposal) -> dict[str, str | None]:
    return {entry.label: entry.file for entry in read_entries(found.state).values()}


def test_the_list_beside_a_loader_says_file_label_and_data() -> None:
    text = "startx64.efi,Quarry Twelve,\\other.efi,a comment\r\n"
    found = proposed(bare({**ON_ATTIC, LIST: listing(text)}, text))
    made = read_entries(found.state)[1]
    assert (made.label, made.volume, made.file) == ("Quarry Twelve", ON_QUARRY, QUARRY)
    assert found.state.variables[
        next(name for name in found.state.variables if "Boot0001" in name)
    ].data.endswith("\\other.efi".encode("utf-16-le"))
    assert read_order(found.state) == [0, 1]


def test_a_loader_that_starts_the_others_is_the_one() -> None:
    """A first loader names the second in its text; neither says which is which by its name."""
    first = program("first")
    assert first.program
    first = replace(first, program=replace(first.program, mentions=("second.efi",)))
    on_attic = {"\\EFI\\quarry\\second.efi": program("second"), "\\EFI\\quarry\\zfirst.efi": first}
    text = "nothing.efi,Nothing,,\r\n"
    found = proposed(bare({**on_attic, LIST: listing(text)}, text))
    assert "\\EFI\\quarry\\zfirst.efi" in labels(found).values()


def test_what_this_firmware_does_not_run_gets_no_entry() -> None:
    text = "startx64.efi,Quarry,,\r\n"
    found = proposed(bare({QUARRY: program("quarry", machine=AA64), LIST: listing(text)}, text))
    assert found.steps == ()


def test_a_folder_of_tools_is_noted_only() -> None:
    on_attic = {f"\\EFI\\utilities\\{name}.efi": program(name) for name in ("one", "two")}
    found = proposed(bare(on_attic))
    assert found.steps == ()
    assert found.noted == (f"\\EFI\\utilities on {ON_QUARRY} holds 2 programs and was taken for no system.",)


def image(version: str, name: str = "Fernwick Linux 7") -> File:
    one = program(f"image {version}")
    assert one.program
    about = replace(one.program, sections=(".linux", ".osrel"), names={"os": name, "os_id": "fernwick"})
    return replace(one, program=about)


def test_the_newest_kernel_image_starts_where_its_loader_is_gone() -> None:
    images = {f"\\EFI\\Linux\\fernwick-{version}.efi": image(version) for version in ("6.9", "6.10")}
    found = proposed(bare(images))
    assert labels(found) == {
        "Fernwick Linux": FERNWICK,
        "Fernwick Linux 7": "\\EFI\\Linux\\fernwick-6.10.efi",
    }
    assert all(one.starts for one in found.then.systems)
    # Whatever starts from that disk may start them.
    assert proposed(bare({**images, **ON_ATTIC})).steps != ()
    started = altered.with_entry(bare({**images, **ON_ATTIC}), ENTRIES[1])
    assert proposed(started).steps == ()


def test_new_entries_come_first_only_where_nothing_starts() -> None:
    held = altered.without_file(bare(ON_ATTIC), f"gpt:{HALL.partitions[0].identifier[4:]}", FERNWICK)
    found = proposed(held)
    assert read_order(found.state)[-1] == 0
    assert found.then.next_system and found.then.next_system.name == "quarry"


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        ("\ufeffa.efi,A,,c\n", [Row("a.efi", "A", "")]),
        ("a.efi,A\n\nb.efi,B,x\n", [Row("b.efi", "B", "x")]),
        ("..\\a.efi,A,,\n/b.efi,B,,\n,C,,\n", []),
    ],
)
def test_lists(text: str, rows: list[Row]) -> None:
    assert parse(text.encode("utf-16-le")) == rows


# second routes and trials


def test_the_second_route_leaves_what_others_have() -> None:
    found = second_route(looked_at(whole()), None, Naming(), "Quarry")
    assert [step.file.path for step in found.steps if isinstance(step, WriteFile)] == [DEFAULT]
    assert found.steps[0].to_json()["volume"] == ON_QUARRY
    assert found.sources == {program("quarry").sha256: (ON_QUARRY, QUARRY)}
    assert len(found.after) < len(found.before)
    foreign = altered.with_copy(
        whole(), ON_QUARRY, replace(program("x", machine=AA64), path=DEFAULT), DEFAULT
    )
    found = second_route(looked_at(foreign), None, Naming(), "Quarry")
    assert not any(isinstance(step, WriteFile) for step in found.steps)
    assert any(isinstance(step, WriteOrder) for step in found.steps)


def test_a_trial_changes_the_next_start_alone() -> None:
    held = whole()
    found = trial(held, (), Systems.learn([held]), "Quarry")
    assert found.step == SetNext(1, "Quarry", None, found.step.why if found.step else "")
    assert found.then.next_system and found.then.next_system.name == "Quarry"
    assert found.state.variable("BootNext").data == b"\x01\x00"  # type: ignore[union-attr]
    assert read_order(found.state) == read_order(held)
    lost = altered.without_file(held, ON_QUARRY, QUARRY)
    found = trial(lost, (), Systems.learn([held, lost]), "Quarry")
    assert found.step is None and found.now.by_key == found.then.by_key
    assert {one.how for one in found.now.systems if one.name == "Quarry"} == {How.NOT_AT_ALL}


def test_a_system_called_like_an_option_is_no_option() -> None:
    asked = Asked(["--write"], {"a": "b"}, Kind.TRIAL, "--yes", ["--undo"])
    assert asked.words() == ["--only=--write", "--also=--undo", "--map=a=b", "--trial=--yes"]


def test_what_starts_next_stays_first_though_the_firmware_lists_its_disk() -> None:
    """An entry for a whole disk that no order lists starts its default file only when a person chooses it."""
    volumes = ((HALL, 1, ON_HALL), (ATTIC, 1, {QUARRY: program("quarry")}))
    found = proposed(state(volumes, entries={4: option("UEFI Disk", ROOT, pci(4), data=FIRMWARE_MARK)}))
    assert found.now.next_system is not None
    assert found.then.next_system == found.now.next_system
    assert sum(one.starts is True for one in found.then.systems) == 2
