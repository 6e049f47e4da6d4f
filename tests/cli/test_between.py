"""drift --between, snapshot --to and history import: what did the installation change?"""

from __future__ import annotations

import json
import os
import stat
import subprocess
from pathlib import Path

import pytest

from bootwatch.cli import drift
from bootwatch.cli.main import main
from bootwatch.keep.snapshot_file import Kept, open_file, read, write
from bootwatch.model.snapshot import State
from bootwatch.places import Places
from bootwatch.service import ask
from bootwatch.service.carry import copy_newest_to
from tests.cli.commands import Commands, Said
from tests.keep.kept import KITCHEN, document, hall_state, kept
from tests.observe.faults import as_somebody
from tests.roots import DEFAULT_LOADER, FERNWICK_ESP, FERNWICK_LOADER, TARN_LOADER, Root, program

CHECKOUT = Path(__file__).parents[2]


def words(said: Said) -> str:
    return " ".join(said.out.split())


def put(
    folder: Path, name: str, state: State | None = None, *, machine: str = "hall", number: int | None = 3
) -> str:
    """A snapshot file."""
    write(folder / name, kept(state, machine=machine, number=number).to_json())
    return str(folder / name)


@pytest.fixture
def bare(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Commands:
    """Commands where there is no machine to look at: they have only files to go by."""
    return Commands(Root(tmp_path / "bare"), capsys)


@pytest.fixture
def before(tmp_path: Path) -> str:
    return put(tmp_path, "before.json")


@pytest.fixture
def after(tmp_path: Path) -> str:
    return put(tmp_path, "after.json", hall_state("quarry 2"), number=5)


def test_what_an_installation_changed(
    bootwatch: Commands, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The whole way: a file before, an installation, a file after."""
    monkeypatch.chdir(tmp_path)
    root, first, second = bootwatch.root, "before.json", "after.json"
    said = bootwatch("snapshot", "--to", first)
    assert said.status == 0 and said.err == ""
    assert words(said) == f"The snapshot of hall lies in {first}."
    assert stat.S_IMODE(Path(first).stat().st_mode) == 0o600
    root.put("vda", 1, DEFAULT_LOADER, program("tarn 2"))
    root.put("vda", 1, "\\EFI\\tarn\\rescuex64.efi", program("tarn 2"))
    root.entry(7, "Tarn Rescue 2", FERNWICK_ESP, TARN_LOADER)
    root.order(7, 0, 1, 2)
    root.start_again()
    bootwatch("snapshot", "--to", second)
    said = bootwatch("drift", "--between", first, second)
    assert said.status == 1 and said.err == ""
    told = words(said)
    assert f"Compared: {first} (hall, " in told and f"with {second} (hall, " in told
    assert 'The entry "Tarn Rescue 2" is new in the firmware.' in told
    assert f"The loader {TARN_LOADER} is new." in told
    assert f"The loader {DEFAULT_LOADER} has other content." in told
    assert FERNWICK_LOADER not in told.replace(f'"Fernwick Linux", {FERNWICK_LOADER}', "")
    for stranger in ("baseline", "It happened", "not known"):
        assert stranger not in told
    assert max(map(len, said.out.splitlines())) <= 80
    assert not (root.folder / "var/lib/bootwatch").exists()


def test_as_data(bare: Commands, before: str, after: str) -> None:
    told = bare("drift", "--between", before, after, "--json").document
    assert told["format"] == "bootwatch/drift/1"
    assert [change["change"] for change in told["changes"]] == ["loader-changed"]
    (change,) = told["changes"]
    assert (change["between"], change["while"], change["evidence"]) == ([None, None], "unknown", [])
    assert told["baseline"] is None
    time = "2026-11-25T07:12:05Z"
    assert told["compared"] == [
        {"name": before, "source": "file", "machine": "hall", "snapshot": 3, "time": time},
        {"name": after, "source": "file", "machine": "hall", "snapshot": 5, "time": time},
    ]
    assert told["gaps"] == document()["gaps"]


def test_nothing_changed(bare: Commands, tmp_path: Path) -> None:
    whole = document() | {"gaps": []}
    write(tmp_path / "one.json", whole)
    one = str(tmp_path / "one.json")
    said = bare("drift", "--between", one, one)
    assert words(said).startswith("hall: no change between the two. Compared: ")
    assert said.status == 0


def test_the_first_one_is_taken_for_the_earlier(bare: Commands, before: str, tmp_path: Path) -> None:
    whole = hall_state()
    gone = put(tmp_path, "gone.json", State(whole.variables, facts=whole.facts))
    there = {change["change"] for change in _changes(bare, gone, before)}
    assert "volume-added" in there and "volume-missing" not in there
    there = {change["change"] for change in _changes(bare, before, gone)}
    assert "volume-missing" in there and "volume-added" not in there


def _changes(bootwatch: Commands, first: str, second: str) -> list[dict[str, object]]:
    return list(bootwatch("drift", "--between", first, second, "--json").document["changes"])


def test_two_machines(bare: Commands, before: str, tmp_path: Path) -> None:
    state = hall_state(machine_id=KITCHEN, host_name="kitchen")
    kitchen = put(tmp_path, "kitchen.json", state, machine="kitchen")
    told = words(bare("drift", "--between", before, kitchen))
    assert "They are of two machines, hall and kitchen: what differs need not have changed." in told


def test_recorded_ones_say_who_had_the_machine(bootwatch: Commands) -> None:
    root = bootwatch.root
    bootwatch("snapshot", "--moment", "shutdown")
    root.put("vda", 1, FERNWICK_LOADER, program("fernwick 2"))
    root.start_again()
    bootwatch("snapshot", "--moment", "boot")
    told = words(bootwatch("drift", "--between", "1", "2"))
    assert "Compared: snapshot 1 (" in told and "with snapshot 2 (" in told
    assert "between snapshot 1 and snapshot 2, while another system or the firmware had the machine." in told
    assert "backwards" not in told and "baseline save" not in told
    told = words(bootwatch("drift", "--between", "2", "1"))
    assert "Snapshot 2 is the later of them, so this reads backwards." in told
    (change,) = _changes(bootwatch, "2", "1")
    assert (change["between"], change["while"]) == ([2, 1], "another system or the firmware")


def test_a_recorded_one_and_a_file(bootwatch: Commands, tmp_path: Path) -> None:
    bootwatch("snapshot")
    path = str(tmp_path / "now.json")
    bootwatch("snapshot", "--to", path)
    said = bootwatch("drift", "--between", "1", path)
    assert said.status == 0 and words(said).startswith("hall: no change between the two.")


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("7", "The history holds no snapshot 7."),
        ("i7", "The history holds no snapshot i7."),
        ("999999999999999999", "The history holds no snapshot 999999999999999999."),
        ("9" * 60, f"There is no file {'9' * 60}."),
        ("nowhere.json", "There is no file nowhere.json."),
    ],
)
def test_one_that_is_not_there(bare: Commands, before: str, name: str, said: str) -> None:
    bare("history", "import", before)
    answer = bare("drift", "--between", before, name)
    assert answer.status == 2 and answer.out == ""
    assert said in answer.err and len(answer.err.splitlines()) == 2


def test_a_number_where_nothing_was_recorded(bare: Commands, before: str) -> None:
    said = bare("drift", "--between", "1", before)
    assert said.status == 2
    assert said.err.splitlines() == [
        "bootwatch: No snapshot was recorded yet.",
        "For a file of that name: ./1",
    ]


def test_a_damaged_file_is_a_problem_as_data_too(bare: Commands, before: str) -> None:
    text = Path(before).read_text()
    Path(before).write_text(text.replace('"moment": "boot"', '"moment": "\\u001b[2Jlunch"'))
    said = bare("drift", "--between", before, before, "--json")
    assert said.status == 3
    assert said.document["problem"].startswith(f"{before} is damaged, or was edited: ")
    assert "\x1b" not in said.err


def test_now_and_between_exclude_each_other(bare: Commands, before: str) -> None:
    assert bare("drift", "--now", "--between", before, before).status == 2


def test_an_existing_file_is_replaced_with_yes_only(bootwatch: Commands, tmp_path: Path) -> None:
    path = tmp_path / "notes"
    path.write_text("my notes")
    said = bootwatch("snapshot", "--to", str(path))
    assert said.status == 2 and "is there already" in said.err and "--yes" in said.err
    assert path.read_text() == "my notes"
    said = bootwatch("snapshot", "--to", str(path), "--yes", "--json")
    assert said.status == 0
    assert said.document["format"] == "bootwatch/written/1"
    assert (said.document["machine"], said.document["snapshot"]) == ("hall", None)
    assert json.loads(path.read_text())["machine"] == "hall"


def test_a_file_says_what_it_lacks(bootwatch: Commands, tmp_path: Path) -> None:
    bootwatch.root.image("vdb").unlink()
    said = bootwatch("snapshot", "--to", str(tmp_path / "hall.json"))
    assert said.status == 0
    assert "Could not be read, so nothing is said about it" in said.out and "vdb" in said.out


def test_a_moment_has_no_place_in_a_file(bare: Commands, tmp_path: Path) -> None:
    assert bare("snapshot", "--to", str(tmp_path / "x"), "--moment", "boot").status == 2
    assert not (tmp_path / "x").exists()


def test_import(bare: Commands, before: str, after: str) -> None:
    said = bare("history", "import", before)
    assert said.status == 0
    assert words(said) == "Snapshot 3 of hall, 2026-11-25 07:12 UTC, is kept as i1."
    assert "was kept already, as i1." in words(bare("history", "import", before))
    answer = bare("history", "import", after, "--json").document
    assert answer == {
        "format": "bootwatch/imported/1",
        "name": "i2",
        "machine": "hall",
        "snapshot": 5,
        "time": "2026-11-25T07:12:05Z",
        "moment": "boot",
        "new": True,
        "own": None,
    }
    Path(before).unlink()
    told = bare("drift", "--between", "i1", "i2", "--json").document
    assert [change["change"] for change in told["changes"]] == ["loader-changed"]
    assert [side["source"] for side in told["compared"]] == ["imported", "imported"]


def test_imported_ones_are_listed_apart(bootwatch: Commands, before: str) -> None:
    bootwatch("history", "import", before)
    said = bootwatch("history")
    assert "No snapshot was recorded yet." in said.out
    bootwatch("snapshot")
    recorded, _, imported = bootwatch("history").out.partition("\nImported from files\n")
    assert len(recorded.splitlines()) == 1 and recorded.split()[0] == "1"
    assert imported.split() == ["i1", "2026-11-25", "07:12", "UTC", "boot", "snapshot", "3", "of", "hall"]
    told = bootwatch("history", "--json").document
    assert [one["snapshot"] for one in told["snapshots"]] == [1]
    assert [one["name"] for one in told["imported"]] == ["i1"]


def test_one_of_another_machine_is_taken_and_said_so(
    bootwatch: Commands, before: str, tmp_path: Path
) -> None:
    bootwatch("snapshot")
    assert "another machine" not in words(bootwatch("history", "import", before))
    state = hall_state(machine_id=KITCHEN, host_name="kitchen")
    kitchen = put(tmp_path, "kitchen.json", state, machine="kitchen", number=None)
    said = bootwatch("history", "import", kitchen)
    assert said.status == 0
    assert words(said) == (
        "A snapshot of kitchen, 2026-11-25 07:12 UTC, is kept as i2. It is of another machine than this one."
    )


def test_a_file_that_is_none_is_not_imported(bare: Commands, tmp_path: Path) -> None:
    path = tmp_path / "notes"
    path.write_text("my notes")
    said = bare("history", "import", str(path))
    assert said.status == 3 and "is no snapshot file" in said.err
    assert not (bare.root.folder / "var/lib/bootwatch").exists()


@pytest.mark.skipif(os.geteuid() != 0, reason="becoming another user takes root")
def test_root_parses_nothing_itself(
    before: str, after: str, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """The files are root's alone; whoever reads them gets them open."""
    can_read = [*as_somebody(), "test", "-r", str(CHECKOUT / "pyproject.toml")]
    if subprocess.run(can_read, check=False).returncode != 0:
        pytest.skip("the checkout is closed to other users")
    monkeypatch.setattr(ask, "USER", "nobody")
    monkeypatch.setattr(drift, "between", None)
    assert main(["drift", "--json", "--between", before, after]) == 1
    told = json.loads(capfd.readouterr().out)
    assert [side["name"] for side in told["compared"]] == [before, after]
    assert [change["change"] for change in told["changes"]] == ["loader-changed"]


@pytest.mark.skipif(os.geteuid() != 0, reason="becoming another user takes root")
def test_without_the_users_of_the_service_nothing_is_parsed_as_root(
    before: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(ask, "USER", "no-such-user")
    for command in (["drift", "--between", before, before], ["history", "import", before]):
        assert main(command) == 2
        assert "does not exist here" in capsys.readouterr().err


def test_on_this_machine_without_rights(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 65534)
    monkeypatch.setattr(os, "access", lambda *_: False)
    for command in (["snapshot", "--to", str(tmp_path / "x.json")], ["drift", "--between", "1", "2"]):
        assert main(command) == 3
        said = capsys.readouterr()
        assert said.out == ""
        assert "needs rights that you don't have" in said.err and "sudo" in said.err
    assert not list(tmp_path.iterdir())


def test_what_root_writes_is_the_newest_recorded(bootwatch: Commands, tmp_path: Path) -> None:
    """What the service recorded is what root puts into the file, by its number."""
    bootwatch("snapshot")
    bootwatch.root.put("vda", 1, FERNWICK_LOADER, program("fernwick 2"))
    bootwatch("snapshot")
    path = tmp_path / "hall.json"
    copy_newest_to(Places.below(bootwatch.root.folder), path, replace=False)
    with open_file(str(path)) as file:
        one: Kept = read(file, "hall.json")
    assert (one.machine, one.snapshot.number) == ("hall", 2)
    assert bootwatch("drift", "--between", "2", str(path)).status == 0
    assert [change["change"] for change in _changes(bootwatch, "1", str(path))] == ["loader-changed"]
