"""bootwatch baseline adopt: what it lists, what it takes, what it refuses."""

from __future__ import annotations

import json
import os
import shutil
import struct
from collections.abc import Callable
from dataclasses import replace

import pytest

from bootwatch.cli.adopt import chosen
from bootwatch.cli.main import main
from bootwatch.keep import baseline as baselines
from bootwatch.model.change import Drift
from bootwatch.places import Places
from bootwatch.problem import UsageProblem
from bootwatch.service.adopt import plan
from tests.cli.commands import Commands, Said
from tests.roots import Root, program
from tests.tell.samples import ENTRY_MISSING, ORDER_CHANGED

NEW = "\\EFI\\fernwick\\rescuex64.efi"


@pytest.fixture(scope="module")
def template(dual_template: Root, tmp_path_factory: pytest.TempPathFactory) -> Root:
    """Saved; then a file came, the waiting time changed, and another entry was asked for once."""
    folder = tmp_path_factory.mktemp("adopt") / "machine"
    shutil.copytree(dual_template.folder, folder, symlinks=True)
    root = dual_template.at(folder)
    main(["--root", str(folder), "baseline", "save", "--reason", "both systems start", "--yes"])
    root.put("vda", 1, NEW, program("fernwick rescue"))
    root.variable("Timeout", struct.pack("<H", 9))
    root.variable("BootNext", struct.pack("<H", 1))
    return root


@pytest.fixture
def drifting(
    template: Root, copy_root: Callable[[Root], Root], capsys: pytest.CaptureFixture[str]
) -> Commands:
    """Commands on such a machine."""
    return Commands(copy_root(template), capsys)


def adopt(bootwatch: Commands, *arguments: str) -> Said:
    return bootwatch("baseline", "adopt", *arguments)


def names(said: Said) -> list[str]:
    return sorted(change["change"] for change in said.document["changes"])


def saved(bootwatch: Commands) -> bytes:
    return (bootwatch.root.folder / "var/lib/bootwatch/baseline/current.yaml").read_bytes()


def test_without_a_baseline_or_with_nothing_open(bootwatch: Commands) -> None:
    for arguments in ([], ["file-added", "--reason", "x"]):
        said = adopt(bootwatch, *arguments)
        assert said.status == 4 and "no baseline yet" in said.err
    bootwatch.save()
    said = adopt(bootwatch)
    assert said.status == 0 and "no difference from the baseline is open" in said.out
    assert "--reason" not in said.out
    said = adopt(bootwatch, "file-added:00000000", "--reason", "x")
    assert said.status == 2 and "No difference is open." in said.err
    said = adopt(bootwatch, "--accepted", "--reason", "x")
    assert said.status == 0 and "nothing was saved" in said.out


def test_lists_and_changes_nothing(drifting: Commands) -> None:
    before = saved(drifting)
    said = adopt(drifting)
    assert said.status == 0
    assert "3 differences from the baseline are open" in said.out
    assert "baseline adopt ID... --reason TEXT" in said.out and "--accepted" not in said.out
    assert "It holds for one start only" in said.out
    assert max(map(len, said.out.splitlines())) <= 80
    document = adopt(drifting, "--json").document
    assert document["format"] == "bootwatch/open/1"
    assert sorted(one["change"] for one in document["changes"]) == [
        "file-added",
        "next-set",
        "timeout-changed",
    ]
    for change in document["changes"]:
        assert change["id"] in said.out
    assert saved(drifting) == before


def test_takes_what_is_named_and_nothing_else(drifting: Commands) -> None:
    state = drifting.root.folder / "var/lib/bootwatch"
    spares = len(list((state / "spares").iterdir()))
    before = saved(drifting)
    said = adopt(drifting, "file-added", "--reason", "a rescue system of our own")
    assert said.status == 0
    assert f"The file {NEW} is new." in said.out
    assert "2 differences stay open" in said.out
    assert names(drifting("drift", "--json")) == ["next-set", "timeout-changed"]
    former = [path for path in (state / "baseline").glob("*.yaml") if path.name != "current.yaml"]
    assert [path.read_bytes() for path in former] == [before]
    assert len(list((state / "spares").iterdir())) == spares + 1
    line = (state / "baseline/log").read_text().splitlines()[-1]
    assert "1 difference of snapshot 2 taken over (file-added:" in line
    assert line.endswith(": a rescue system of our own")
    # The newest snapshot is compared with it, without another reading.
    assert len(drifting("history", "--json").document["snapshots"]) == 2
    shown = drifting("baseline", "show")
    assert 'because: "a rescue system of our own"' in shown.out
    assert '("both systems start") with 1 difference taken over.' in " ".join(shown.out.split())


def test_a_whole_new_baseline_comes_from_none(drifting: Commands) -> None:
    adopt(drifting, "file-added", "--reason", "x")
    drifting.save()
    assert drifting("baseline", "show", "--json").document["former"] is None


def test_says_what_was_saved_as_data(drifting: Commands) -> None:
    said = adopt(drifting, "timeout-changed", "file-added", "--reason", "x", "--json")
    document = said.document
    assert document["format"] == "bootwatch/adopted/1"
    assert [one.partition(":")[0] for one in document["adopted"]] == ["timeout-changed", "file-added"]
    assert [one.partition(":")[0] for one in document["open"]] == ["next-set"]
    assert document["file"].endswith("current.yaml") and document["without"] == []


REFUSED = [
    (["file-gone", "--reason", "x"], "No open difference has the id file-gone"),
    (["", "--reason", "x"], "No open difference has the id ;"),
    (["next-set", "--reason", "x"], "holds for one start only"),
    (["file-added"], "There is no reason"),
    (["file-added", "--reason", " "], "The reason is empty"),
    (["--reason", "x"], "was not said"),
]


def test_refuses_what_it_cannot_do(drifting: Commands) -> None:
    before = saved(drifting)
    for arguments, words in REFUSED:
        said = adopt(drifting, *arguments)
        assert said.status == 2 and words in said.err
    assert saved(drifting) == before


def test_an_unknown_id_is_answered_with_what_there_is(drifting: Commands) -> None:
    said = adopt(drifting, "nobody", "--reason", "x", "--json")
    assert said.status == 2
    assert said.document["format"] == "bootwatch/problem/1"
    for name in ("file-added:", "timeout-changed:", "next-set:"):
        assert name in said.document["hint"]


def test_what_hangs_together_is_refused_apart(bootwatch: Commands) -> None:
    bootwatch.save()
    files = [bootwatch.root.variable_file(name) for name in ("Boot0000", "Boot0001")]
    first, second = (file.read_bytes() for file in files)
    files[0].write_bytes(second)
    files[1].write_bytes(first)
    bootwatch.root.order(1, 0, 2)
    one, other = (change["id"] for change in adopt(bootwatch, "--json").document["changes"])
    said = adopt(bootwatch, one, "--reason", "x")
    assert said.status == 2 and "without 1 other" in said.err and other in said.err
    assert adopt(bootwatch, one, other, "--reason", "x").status == 0
    assert bootwatch("drift").status == 0


def test_a_finding_of_today_is_not_seen_with_it(drifting: Commands) -> None:
    """A new baseline says which findings a person saw; what is wrong today besides is none of them."""
    drifting.root.variable_file("BootNext").unlink()
    drifting.root.order(0, 1, 2, 0x77)
    assert drifting("drift", "--json").document["findings"]
    adopt(drifting, "file-added", "--reason", "x")
    header = baselines.load_header(drifting.root.folder / "var/lib/bootwatch/baseline")
    assert header and header.overview["findings"] == []


def test_the_reader_writes_its_plan_where_it_is_told(drifting: Commands) -> None:
    document = adopt(drifting, "--json").document
    own = next(one["id"] for one in document["changes"] if one["change"] == "file-added")
    descriptor = os.memfd_create("plan")
    kept = os.dup(descriptor)
    number = document["snapshot"]
    said = adopt(drifting, own, "--planned-for", str(number), str(descriptor))
    with open(kept, "rb") as file:
        file.seek(0)
        made = json.load(file)
    assert (said.status, said.out) == (0, "")
    assert made == json.loads(json.dumps(plan(Places.below(drifting.root.folder), number, [own])))


def test_another_baseline_in_between_is_noticed(drifting: Commands) -> None:
    number = adopt(drifting, "--json").document["snapshot"]
    path = drifting.root.folder / "var/lib/bootwatch/baseline/current.yaml"
    path.write_text(path.read_text() + "note: edited\n")
    with pytest.raises(Exception, match="replaced meanwhile"):
        plan(Places.below(drifting.root.folder), number, [])


def test_an_id_may_be_shortened_to_what_no_other_has() -> None:
    expected = replace(ENTRY_MISSING, id="entry-missing:7c1e5a00", accepted="It is expected.")
    other = replace(ENTRY_MISSING, id="entry-missing:7c1f5a00")
    drift = Drift((expected, other, ORDER_CHANGED), (), ())
    assert chosen(drift, ["entry-missing:7c1f"], accepted=False) == [other]
    assert chosen(drift, ["order"], accepted=True) == [expected, ORDER_CHANGED]
    assert chosen(drift, [], accepted=True) == [expected]
    with pytest.raises(UsageProblem) as error:
        chosen(drift, ["entry-missing:7c1"], accepted=False)
    assert (
        "2" in error.value.message
        and expected.id in error.value.hint
        and ORDER_CHANGED.id not in error.value.hint
    )
