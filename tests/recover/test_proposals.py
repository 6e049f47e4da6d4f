"""Entries without a baseline, second routes and trials: commands on a machine root."""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil
import struct
from collections.abc import Callable

import pytest

from bootwatch.places import Places
from bootwatch.problem import Problem
from bootwatch.service.asked import Asked, Kind
from bootwatch.service.restore import write
from tests.cli.commands import Commands
from tests.recover.test_restore import contents, variables
from tests.roots import (
    DEFAULT_LOADER,
    FERNWICK_ESP,
    FERNWICK_LOADER,
    QUARRY_ESP,
    QUARRY_LOADER,
    TARN_PART,
    Part,
    Root,
    load_option,
    program,
)

IN_THE_WAY = "\\EFI\\BOOT\\BOOTIA32.EFI"

pytestmark = pytest.mark.long
LIST = "\\EFI\\fernwick\\BOOTX64.CSV"


def order_of(root: Root) -> tuple[int, ...]:
    data = root.variable_file("BootOrder").read_bytes()[4:]
    return struct.unpack(f"<{len(data) // 2}H", data)


def entry(root: Root, number: int) -> bytes:
    return root.variable_file(f"Boot{number:04X}").read_bytes()[4:]


@pytest.fixture
def machine(
    dual_template: Root, copy_root: Callable[[Root], Root], capsys: pytest.CaptureFixture[str]
) -> Commands:
    return Commands(copy_root(dual_template), capsys)


@pytest.fixture
def foreign(machine: Commands) -> Commands:
    """Somebody's computer after its firmware lost all entries; nothing was ever saved there."""
    root = machine.root
    for number in range(3):
        root.variable_file(f"Boot{number:04X}").unlink()
    root.order()
    # As distributions write it: UTF-16LE without a byte order mark.
    line = "loaderx64.efi,Fernwick Linux,,This is the boot entry for Fernwick Linux\r\n"
    root.put("vda", 1, LIST, line.encode("utf-16-le"))
    return machine


def test_nothing_is_proposed_where_all_start(machine: Commands) -> None:
    said = machine("restore", "--without-baseline", "--json")
    assert (said.status, said.document["steps"]) == (0, [])


def test_entries_are_made_from_what_lies_there(foreign: Commands) -> None:
    """Quarry and Tarn Rescue have only their folders; Fernwick has a list with its name."""
    root, before, held = foreign.root, contents(foreign.root), variables(foreign.root)
    assert foreign("restore").status == 4
    assert "--without-baseline" in foreign("restore").err
    said = foreign("restore", "--without-baseline")
    assert said.status == 1
    assert "Fernwick Linux" in said.out and "Nothing was written" in said.out
    assert foreign("restore", "--without-baseline", "--write", "--yes").status == 0
    # What the tests write by hand: UEFI 2.10 §3.1.3.
    made = {entry(root, number) for number in order_of(root)}
    assert made >= {load_option("quarry", QUARRY_ESP, QUARRY_LOADER)}
    assert contents(root) == before
    assert foreign("restore", "--without-baseline").status == 0
    assert foreign("restore", "--undo", "--yes").status == 0
    assert variables(root) == held


def test_new_entries_come_behind_what_starts(foreign: Commands) -> None:
    foreign.root.entry(7, "Quarry", QUARRY_ESP, QUARRY_LOADER)
    foreign.root.order(7)
    foreign.root.remove("vda", 1, DEFAULT_LOADER)
    assert foreign("restore", "--without-baseline", "--write", "--yes").status == 0
    order = order_of(foreign.root)
    assert order[0] == 7
    assert load_option("Fernwick Linux", FERNWICK_ESP, FERNWICK_LOADER) in {
        entry(foreign.root, number) for number in order[1:]
    }


def test_entry_that_is_switched_off_is_switched_on(machine: Commands) -> None:
    machine.root.entry(1, "Quarry", QUARRY_ESP, QUARRY_LOADER, data=b"QRY1", attributes=8)
    machine.root.order(0, 2)
    assert machine("restore", "--without-baseline", "--write", "--yes").status == 0
    assert entry(machine.root, 1) == load_option(
        "Quarry", QUARRY_ESP, QUARRY_LOADER, data=b"QRY1", attributes=9
    )
    assert order_of(machine.root) == (0, 2, 1)


FOREIGN = load_option("x", FERNWICK_ESP, "\\EFI\\evil.efi").hex()
NO_PROGRAM = load_option("x", FERNWICK_ESP, "\\kernel.img").hex()
HANDED = load_option("x", FERNWICK_ESP, FERNWICK_LOADER, data=b"evil").hex()
OFF = load_option("x", FERNWICK_ESP, FERNWICK_LOADER, attributes=0).hex()


def test_what_the_machine_does_not_bear_out_is_refused(foreign: Commands) -> None:
    """As where what read the machine was subverted."""
    root = foreign.root
    root.entry(7, "Quarry", QUARRY_ESP, QUARRY_LOADER)
    root.order(7)
    before = variables(root), contents(root)
    made = foreign("restore", "--without-baseline", "--json").document
    step = {"step": "write-entry", "entry": "Boot0009", "label": "x", "over": None, "why": "", "data": ""}
    order = {"step": "write-order", "over": ["Boot0007"], "why": ""}
    file = {"step": "write-file", "volume": f"gpt:{QUARRY_ESP}", "size": 1, "sha256": "ab" * 32, "why": ""}
    for wrong in (
        *(step | {"data": data} for data in (FOREIGN, NO_PROGRAM, HANDED, OFF)),
        step | {"entry": "Boot0007", "data": FOREIGN, "over": entry(root, 7).hex()},
        order | {"order": ["Boot0001"]},
        order | {"order": ["Boot0003", "Boot0007"]},
        file | {"path": DEFAULT_LOADER, "over": ""},
        {"step": "set-next", "entry": "Boot0007", "label": "x", "over": None, "why": ""},
        {"step": "clear-next", "over": "", "why": ""},
    ):
        tampered = json.loads(json.dumps(made)) | {"steps": [wrong]}
        with pytest.raises(Problem):
            write(places(foreign), tampered, by="root", asked=Asked(kind=Kind.WITHOUT_BASELINE))
    assert (variables(root), contents(root)) == before


def places(machine: Commands) -> Places:
    return Places.below(machine.root.folder)


# second routes


def test_a_second_route_is_what_the_rehearsal_names(machine: Commands) -> None:
    """Quarry has only its entry: its loader at the default path, or a second entry, helps."""
    said = machine("restore", "--add-route", "Quarry", "--json").document
    points = said["single_points"]
    assert len(points["after"]) < len(points["before"])
    assert "Quarry" in machine("restore", "--add-route", "Quarry").out
    assert machine("restore", "--add-route", "Quarry", "--write", "--yes").status == 0
    rehearsed = machine("rehearse", "--json").document
    quarry = next(one for one in rehearsed["systems"] if one["name"] == "Quarry")
    assert len(quarry["single_points"]) == len(points["after"])
    assert machine("restore", "--undo", "--yes").status == 0


def test_no_default_file_of_others_is_overwritten(machine: Commands) -> None:
    machine.root.put("vdb", 1, DEFAULT_LOADER, b"somebody's")
    said = machine("restore", "--add-route", "Quarry", "--json").document
    assert [step["step"] for step in said["steps"]] == ["write-entry", "write-order"]
    assert len(said["single_points"]["after"]) < len(said["single_points"]["before"])


def test_nothing_is_proposed_where_entries_could_not_be_read(foreign: Commands) -> None:
    """A firmware that lists neither an order nor any entry (a listing that ended early)."""
    foreign.root.variable_file("BootOrder").unlink()
    said = foreign("restore", "--without-baseline", "--json").document
    assert said["steps"] == []
    assert {one["why"] for one in said["left"]} == {"whether an entry leads to it could not be read"}


def test_unknown_system_is_refused(machine: Commands) -> None:
    for option in ("--add-route", "--trial"):
        refused = machine("restore", option, "Nobody")
        assert refused.status == 2 and "Quarry" in refused.err


# trials


def test_a_trial_asks_for_one_start_only(machine: Commands) -> None:
    root, before = machine.root, variables(machine.root)
    assert machine("restore", "--trial").status == 2
    said = machine("restore", "--trial", "Quarry")
    assert said.status == 1 and "recovery" in said.out
    cautions = machine("restore", "--trial", "Quarry", "--json").document["cautions"]
    assert any("recovery-key" in one for one in cautions)
    assert machine("restore", "--trial", "Quarry", "--write", "--yes").status == 0
    assert root.variable_file("BootNext").read_bytes()[4:] == struct.pack("<H", 1)
    assert {name: data for name, data in variables(root).items() if "BootNext" not in name} == before
    assert "No start was seen since" in machine("restore", "--trial").out


def test_a_trial_is_proven_by_the_next_start(machine: Commands) -> None:
    """The own system by another entry of its own; afterwards BootCurrent names it (UEFI 2.10 §3.3)."""
    root = machine.root
    root.entry(5, "Fernwick Linux once more", FERNWICK_ESP, DEFAULT_LOADER)
    root.order(0, 1, 2, 5)
    root.variable("BootCurrent", struct.pack("<H", 0), attributes=6)
    root.write("etc/os-release", 'ID=fernwick\nNAME="Fernwick Linux"')
    machine("snapshot", "--moment", "boot")
    assert machine("restore", "--trial", "Fernwick Linux", "--write", "--yes").status == 0
    assert root.variable_file("BootNext").read_bytes()[4:] == struct.pack("<H", 5)
    started(root, 5)
    machine("snapshot", "--moment", "boot")
    told = machine("restore", "--trial", "--json").document
    assert (told["result"], told["entry"]) == ("proven", "Boot0005")


def started(root: Root, number: int) -> None:
    root.variable_file("BootNext").unlink()
    root.variable("BootCurrent", struct.pack("<H", number), attributes=6)
    root.start_again()


def test_options_that_ask_for_different_things(machine: Commands) -> None:
    assert machine("restore", "--trial", "Quarry", "--add-route", "Quarry").status == 2
    assert machine("restore", "--without-baseline", "--only", "Quarry").status == 2
    for words in (("--only", "Quarry"), ("--trial",), ("--add-route", "Quarry"), ("--without-baseline",)):
        refused = machine("restore", "--undo", "--yes", *words)
        assert (refused.status, "--undo takes a whole restore back" in refused.err) == (2, True), words


def test_only_a_second_route_copies_files(machine: Commands) -> None:
    """Nor is anything copied that is no program."""
    root = machine.root
    root.put("vdb", 1, IN_THE_WAY, b"no program")
    made = machine("restore", "--without-baseline", "--json").document
    before = contents(root)
    for path, held, kinds in (
        (QUARRY_LOADER, program("quarry 1"), (Kind.WITHOUT_BASELINE, Kind.TRIAL)),
        (IN_THE_WAY, b"no program", (Kind.ADD_ROUTE,)),
    ):
        step = {"step": "write-file", "path": "\\EFI\\BOOT\\BOOTAA64.EFI", "over": "", "why": "", "size": 1}
        own = hashlib.sha256(held).hexdigest()
        step |= {"volume": f"gpt:{FERNWICK_ESP}", "sha256": own}
        forged = made | {"steps": [step], "sources": {own: [f"gpt:{QUARRY_ESP}", path]}}
        for kind in kinds:
            with pytest.raises(Problem, match=r"wasn't asked for|doesn't bear out|not on this machine"):
                write(places(machine), forged, by="root", asked=Asked(kind=kind, system="Quarry"))
    assert contents(root) == before


# a replaced disk

NEW_PART = "81b2c3d4-e5f6-4a07-9b18-2c3d4e5f6a17"
MAPPED = f"gpt:{QUARRY_ESP}=gpt:{NEW_PART}"


@pytest.fixture
def replaced(machine: Commands) -> Commands:
    """Quarry's disk is another one, with a copy of its files."""
    root = machine.root
    machine("baseline", "save", "--reason", "all start", "--yes")
    root.image("vdb").unlink()
    shutil.rmtree(root.folder / "sys/devices/pci0000:00/0000:00:05.0")
    for node in ("vdb", "vdb1", "vdb2"):
        (root.folder / "sys/class/block" / node).unlink()
    files = {QUARRY_LOADER: program("quarry 1"), "\\EFI\\quarry\\store": bytes(range(256))}
    guid = "7c1d5e90-2b4f-4a68-9e07-d3f1a2b4c511"
    root.disk("vdb", [Part(NEW_PART, files)], slot=6, guid=guid)
    return machine


def test_nothing_is_taken_for_a_replaced_volume_unasked(replaced: Commands) -> None:
    before = variables(replaced.root)
    said = replaced("restore", "--json").document
    assert [(one["was"], one["now"]) for one in said["questions"]] == [
        (f"gpt:{QUARRY_ESP}", f"gpt:{NEW_PART}")
    ]
    assert said["steps"] == [] and replaced("restore", "--write", "--yes").status == 1
    assert "what can be brought back depends on what is asked below" in replaced("restore").out
    assert variables(replaced.root) == before


def test_a_replaced_volume_is_named(replaced: Commands) -> None:
    said = replaced("restore", "--map", MAPPED)
    assert f"--map={MAPPED} --write" in said.out
    assert replaced("restore", "--map", MAPPED, "--write", "--yes").status == 0
    made = load_option("Quarry", NEW_PART, QUARRY_LOADER, data=b"QRY1")
    assert entry(replaced.root, 1) == made
    assert replaced("restore", "--map", f"gpt:{TARN_PART}=gpt:{QUARRY_ESP}").status == 2
    assert replaced("restore", "--map", MAPPED, "--map", f"gpt:{TARN_PART}=gpt:{NEW_PART}").status == 2
    assert replaced("restore", "--map", "gpt").status == 2


def test_a_person_who_can_be_asked_is_asked(replaced: Commands, monkeypatch: pytest.MonkeyPatch) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.setattr("sys.stdin", Terminal("y\n"))
    said = replaced("restore")
    assert "(2 of 2 files are the same, the same size)? [y/N]" in said.out
    assert 'mend the entry "Quarry"' in said.out


def test_a_plan_says_nothing_of_what_is_mapped(replaced: Commands) -> None:
    """What the reader says of a map, nobody asked for."""
    made = replaced("restore", "--map", MAPPED, "--json").document
    with pytest.raises(Problem):
        write(places(replaced), made, by="root")


def test_the_reader_works_it_out_for_root(machine: Commands) -> None:
    """As root's command has it done: from a recorded snapshot, into a file that was handed over."""
    machine("snapshot", "--moment", "boot")
    for asked, sort in ((Asked(kind=Kind.TRIAL, system="Quarry"), "set-next"), (Asked(), "")):
        handed = os.memfd_create("plan")
        said = machine("restore", *asked.words(), "--planned-for", "1", str(os.dup(handed)))
        if sort:
            os.lseek(handed, 0, os.SEEK_SET)
            made = json.loads(os.read(handed, 1 << 20))
            assert (said.status, made["steps"][0]["step"], made["snapshot"]) == (0, sort, 1)
        else:  # without a baseline nothing was compared
            assert said.status == 3 and "no comparison" in said.err
