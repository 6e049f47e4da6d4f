"""The main job by its commands: exit status, words and JSON."""

from __future__ import annotations

import json
import shutil

from tests.cli.commands import Commands, quarry_updates
from tests.roots import FERNWICK_ESP, FERNWICK_LOADER, QUARRY_ESP, QUARRY_LOADER, TARN_LOADER, program

KEYS = {"id", "level", "change", "system", "what", "before", "after", "consequence", "while", "between"}


def test_no_baseline_is_4(bootwatch: Commands) -> None:
    for command in (["drift"], ["baseline", "show"], []):
        said = bootwatch(*command)
        assert said.status == 4
        assert "no baseline yet" in said.err and "baseline save" in said.err
        assert len(said.err.splitlines()) == 2


def test_nothing_happened(bootwatch: Commands) -> None:
    bootwatch.save()
    said = bootwatch("drift")
    assert said.status == 0
    assert "no change from the baseline" in said.out
    document = bootwatch("drift", "--json").document
    assert document == {
        "format": "bootwatch/drift/1",
        "level": None,
        "changes": [],
        "findings": [],
        "gaps": [],
    } | {key: document[key] for key in ("machine", "snapshot", "time", "baseline")}


def test_drift_in_words_and_as_data(bootwatch: Commands) -> None:
    bootwatch.save()
    quarry_updates(bootwatch)
    said = bootwatch("drift")
    assert said.status == 1
    assert 'The entry "Fernwick Linux" is gone' in said.out
    assert f"The loader {FERNWICK_LOADER} is gone" in said.out
    assert max(map(len, said.out.splitlines())) <= 80
    document = bootwatch("drift", "--json").document
    assert document["level"] == "diverted"
    assert {change["change"] for change in document["changes"]} == {"entry-missing", "loader-missing"}
    for change in document["changes"]:
        assert set(change) >= KEYS
        assert change["id"].startswith(change["change"] + ":")
        assert change["system"] == "Fernwick Linux"
        assert change["while"] == "unknown"
        assert change["between"] == [1, None]


def test_drift_records_nothing(bootwatch: Commands) -> None:
    bootwatch.save()
    before = bootwatch("history", "--json").out
    quarry_updates(bootwatch)
    bootwatch("drift")
    assert bootwatch("history", "--json").out == before
    assert not (bootwatch.root.folder / "var/lib/bootwatch/spool").exists()


def test_snapshot_of_a_drifting_machine_is_no_failure(bootwatch: Commands) -> None:
    bootwatch.save()
    quarry_updates(bootwatch)
    said = bootwatch("snapshot", "--moment", "boot")
    assert said.status == 0
    assert len(list((bootwatch.root.folder / "var/lib/bootwatch/spool").glob("*.json"))) == 1


def test_custody_from_a_shutdown_and_the_next_boot(bootwatch: Commands) -> None:
    bootwatch.save()
    bootwatch("snapshot", "--moment", "shutdown")
    quarry_updates(bootwatch)
    bootwatch("snapshot", "--moment", "boot")
    changes = bootwatch("drift", "--json").document["changes"]
    assert {change["while"] for change in changes} == {"another system or the firmware"}
    assert {tuple(change["between"]) for change in changes} == {(2, 3)}


def test_custody_within_one_start(bootwatch: Commands) -> None:
    bootwatch.save()
    bootwatch.root.remove("vda", 1, FERNWICK_LOADER)
    bootwatch("snapshot")
    changes = bootwatch("drift", "--json").document["changes"]
    assert [change["while"] for change in changes] == ["this system"]


def test_told_once_and_again_when_more_is_lost(bootwatch: Commands) -> None:
    spool = bootwatch.root.folder / "var/lib/bootwatch/spool"
    bootwatch.save()
    quarry_updates(bootwatch)
    bootwatch("snapshot")
    bootwatch("snapshot")
    assert len(list(spool.glob("*.json"))) == 1
    bootwatch.root.remove("vdb", 1, QUARRY_LOADER)
    bootwatch("snapshot")
    messages = [json.loads(path.read_text()) for path in sorted(spool.glob("*.json"))]
    assert [len(message["news"]) for message in messages] == [2, 1]
    assert len(messages[1]["drift"]["changes"]) == 3


def test_no_tell_leaves_it_to_be_told_later(bootwatch: Commands) -> None:
    spool = bootwatch.root.folder / "var/lib/bootwatch/spool"
    bootwatch.save()
    quarry_updates(bootwatch)
    bootwatch("snapshot", "--no-tell")
    assert not spool.exists() or not list(spool.glob("*.json"))
    bootwatch("snapshot")
    assert len(list(spool.glob("*.json"))) == 1


def test_routine_is_told_to_nobody_and_is_no_failure(bootwatch: Commands) -> None:
    bootwatch.save()
    bootwatch.root.put("vda", 1, "\\kernel.img", b"kernel 2")
    bootwatch("snapshot")
    assert bootwatch("drift").status == 0
    assert not (bootwatch.root.folder / "var/lib/bootwatch/spool").exists()


def test_a_crowd_of_routine_changes_is_counted(bootwatch: Commands) -> None:
    bootwatch.save()
    for number in range(9):
        bootwatch.root.put("vda", 1, f"\\modules\\{number}.bin", b"x")
    said = bootwatch("drift")
    assert said.out.count("is new.") == 5 and "and 4 more routine changes" in said.out
    assert len(bootwatch("drift", "--json").document["changes"]) == 9


def test_unread_is_3_and_a_loss_beside_it_1(bootwatch: Commands) -> None:
    bootwatch.save()
    bootwatch.root.image("vdb").rename(bootwatch.root.folder / "aside")
    said = bootwatch("drift")
    assert said.status == 3
    assert "is gone" not in said.out and "could not be read" in said.out
    quarry_updates(bootwatch)
    assert bootwatch("drift").status == 1


def test_finding_alone_is_1(bootwatch: Commands) -> None:
    bootwatch.root.image("vdc").write_bytes(bootwatch.root.image("vdb").read_bytes())
    bootwatch.root.list_disk("vdc", bootwatch.root.image("vdb").stat().st_size, [], 6, False)
    bootwatch.save()
    said = bootwatch("drift")
    assert said.status == 1
    assert bootwatch("drift", "--json").document["findings"][0]["finding"] == "same-identifiers"


def test_machine_without_uefi(bootwatch: Commands) -> None:
    """A PC started by its legacy line although it could start through UEFI."""
    shutil.rmtree(bootwatch.root.folder / "sys/firmware")
    for command in (["snapshot"], ["baseline", "save", "--reason", "x", "--yes"]):
        said = bootwatch(*command)
        assert said.status == 3
        assert "not started by UEFI" in said.err and "UEFI line" in said.err
        assert len(said.err.splitlines()) == 2
    said = bootwatch("drift")
    assert said.status == 4
    assert "no baseline yet" in said.err and "UEFI line" in said.err


def test_machine_that_never_heard_of_uefi(bootwatch: Commands) -> None:
    for path in ("sys/firmware", "sys/class", "dev"):
        shutil.rmtree(bootwatch.root.folder / path)
    said = bootwatch("snapshot")
    assert said.status == 3 and "UEFI line" not in said.err


def test_uefi_lost_after_the_baseline(bootwatch: Commands) -> None:
    """The setting that makes a PC start the legacy way: files are still compared, entries are unknown."""
    bootwatch.save()
    shutil.rmtree(bootwatch.root.folder / "sys/firmware")
    assert bootwatch("drift").status == 3
    bootwatch.root.remove("vda", 1, FERNWICK_LOADER)
    document = bootwatch("drift", "--json").document
    assert [change["change"] for change in document["changes"]] == ["loader-missing"]


def test_mistake_in_the_config(bootwatch: Commands) -> None:
    bootwatch.root.write("etc/bootwatch/bootwatch.yaml", "machine: hall\nsistems: []\n")
    said = bootwatch("drift")
    assert said.status == 2
    assert "bootwatch.yaml" in said.err and "line 2" in said.err and "sistems" in said.err


def test_mistake_in_the_config_stops_no_snapshot(bootwatch: Commands) -> None:
    bootwatch.save()
    bootwatch.root.write("etc/bootwatch/bootwatch.yaml", "sistems: []\n")
    quarry_updates(bootwatch)
    said = bootwatch("snapshot")
    assert said.status == 0 and "sistems" in said.err
    assert "sistems" in (bootwatch.root.folder / "run/bootwatch/motd").read_text()
    assert len(bootwatch("history", "--json").document["snapshots"]) == 2
    assert len(list((bootwatch.root.folder / "var/lib/bootwatch/spool").glob("*.json"))) == 1


def test_levels_of_the_config(bootwatch: Commands) -> None:
    text = "levels:\n  - change: loader-missing\n    path: '\\EFI\\fernwick\\*'\n    level: routine\n"
    bootwatch.root.write("etc/bootwatch/bootwatch.yaml", text)
    bootwatch.save()
    bootwatch.root.remove("vda", 1, FERNWICK_LOADER)
    assert bootwatch("drift").status == 0


def test_hidden_system_of_the_config(bootwatch: Commands) -> None:
    text = "systems:\n  - name: Nobody's business\n    join: Tarn Rescue\n    hide: true\n"
    bootwatch.root.write("etc/bootwatch/bootwatch.yaml", text)
    bootwatch.save()
    bootwatch.root.remove("vdb", 5, TARN_LOADER)
    assert bootwatch("drift").status == 0
    change = bootwatch("drift", "--json").document["changes"][0]
    assert (change["system"], change["level"]) == ("Nobody's business", "routine")


def test_wrong_usage_is_2(bootwatch: Commands) -> None:
    for command in (["no-such-command"], ["baseline", "save"], ["snapshot", "--moment", "noon"]):
        assert bootwatch(*command).status == 2


def test_hostile_names_never_reach_the_terminal(bootwatch: Commands) -> None:
    label = "Evil \x1b[2J\x1b]0;title\x07\u202egnp"
    bootwatch.root.entry(5, label, QUARRY_ESP, "\\EFI\\\x1b[31m.efi")
    bootwatch.root.order(0, 1, 2, 5)
    saved = bootwatch.save()
    bootwatch.root.variable_file("Boot0005").unlink()
    bootwatch("snapshot")
    outputs = [saved, bootwatch("drift"), bootwatch(), bootwatch("history"), bootwatch("baseline", "show")]
    outputs.append(bootwatch("drift", "--json"))
    for said in outputs:
        for character in said.out + said.err:
            assert character == "\n" or character.isprintable(), (character, said)
    run = bootwatch.root.folder / "run/bootwatch"
    for file in run.iterdir():
        assert all(character == "\n" or character.isprintable() for character in file.read_text())


def test_answer_in_three_lines(bootwatch: Commands) -> None:
    bootwatch.save()
    quarry_updates(bootwatch)
    bootwatch("snapshot", "--moment", "boot")
    said = bootwatch()
    assert said.status == 1
    lines = said.out.splitlines()
    assert len(lines) == 3
    assert lines[0].startswith("hall: ")
    assert lines[1] == "next start: Quarry, by its entry Boot0001"
    assert "snapshot 2" in lines[2]
    code = lines[2].partition("; on the phone say ")[2]
    heard = bootwatch("heard", code).out.splitlines()
    assert heard[2] == "next start: the system whose name begins with Q" and "today, " in heard[4]
    run = bootwatch.root.folder / "run/bootwatch"
    assert json.loads((run / "drift.json").read_text())["spoken"] == code
    assert f"On the phone, read out: {code}\n" in (run / "motd").read_text()


def test_history_lists_newest_first(bootwatch: Commands) -> None:
    bootwatch.save()
    quarry_updates(bootwatch)
    bootwatch("snapshot", "--moment", "boot")
    lines = bootwatch("history").out.splitlines()
    assert lines[0].split()[0] == "2" and "a new start" in " ".join(" ".join(lines).split())
    assert lines[-1].split()[0] == "1"
    assert max(map(len, lines)) <= 80


def test_loader_that_changed_twice_is_told_twice(bootwatch: Commands) -> None:
    spool = bootwatch.root.folder / "var/lib/bootwatch/spool"
    bootwatch.save()
    for version in (2, 3):
        bootwatch.root.put("vdb", 1, QUARRY_LOADER, program(f"quarry {version}"))
        bootwatch("snapshot")
        bootwatch("snapshot")
    assert len(list(spool.glob("*.json"))) == 2


def test_moved_fernwick_keeps_its_name(bootwatch: Commands) -> None:
    bootwatch.save()
    bootwatch.root.entry(0, "Fernwick", FERNWICK_ESP, FERNWICK_LOADER)
    changes = bootwatch("drift", "--json").document["changes"]
    assert [(change["change"], change["system"]) for change in changes] == [
        ("entry-relabelled", "Fernwick Linux")
    ]


def test_root_that_is_no_folder(bootwatch: Commands) -> None:
    from bootwatch.cli.main import main

    assert main(["--root", str(bootwatch.root.folder / "nowhere"), "drift"]) == 2
    assert main(["--root", str(bootwatch.root.image("vda")), "send"]) == 2
