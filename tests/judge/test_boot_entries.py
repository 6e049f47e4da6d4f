"""Entries of the Boot Loader Specification: what they name, and the order in which bootctl lists them."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path
from random import Random

import pytest

from bootwatch.judge.boot_entries import BootEntry, order_key, read_entry
from bootwatch.judge.menu import Role, Target
from bootwatch.judge.version_order import compare_versions

ORDERS = json.loads((Path(__file__).parent / "samples/entry_orders.json").read_text())


def read(name: str, text: str) -> BootEntry:
    entry = read_entry(f"\\loader\\entries\\{name}", text.encode())
    assert entry
    return entry


def test_an_entry() -> None:
    entry = read(
        "fernwick-6.1+2-1.conf",
        "# written by a script\ntitle   Fernwick Linux 7\nversion\t6.1\nmachine-id 5d8f0f6ce1c84a0a\n"
        "sort-key fernwick\nlinux /fernwick/6.1/linux\ninitrd /microcode.img\n"
        "initrd \\fernwick\\6.1\\initrd\n"
        "options root=UUID=3d1c9a52-77aa-4e0b-8f11-5b6c7d8e9f00 quiet\noptions rw\narchitecture x64\n"
        "devicetree /fernwick/board.dtb\n",
    )
    assert entry.stanza.title == "Fernwick Linux 7"
    assert entry.stanza.targets == (
        Target(Role.KERNEL, "\\fernwick\\6.1\\linux"),
        Target(Role.INITRD, "\\microcode.img"),
        Target(Role.INITRD, "\\fernwick\\6.1\\initrd"),
        Target(Role.DEVICE_TREE, "\\fernwick\\board.dtb"),
    )
    assert entry.stanza.roots == ("3d1c9a52-77aa-4e0b-8f11-5b6c7d8e9f00",)
    assert (entry.id, entry.is_spent) == ("fernwick-6.1.conf", False)
    assert (entry.sort_key, entry.version, entry.architecture) == ("fernwick", "6.1", "x64")


@pytest.mark.parametrize("word", ["efi", "uki"])
def test_a_program(word: str) -> None:
    entry = read("quarry.conf", f"title Quarry\n{word} /EFI/quarry/startx64.efi\n")
    assert entry.stanza.targets == (Target(Role.PROGRAM, "\\EFI\\quarry\\startx64.efi"),)


def test_variables_behind_a_path_are_left_out() -> None:
    entry = read("a.conf", "linux /linux\ninitrd /initrd $tuned_initrd\ninitrd $more\n")
    assert [target.path for target in entry.stanza.targets] == ["\\linux", "\\initrd"]


@pytest.mark.parametrize(
    "text", ["", "title Nothing\n", "linux\n", "initrd /initrd\n", "# linux /linux\n", "\0" * 100]
)
def test_what_names_nothing_to_start_is_no_entry(text: str) -> None:
    assert read_entry("\\loader\\entries\\a.conf", text.encode()) is None


@pytest.mark.parametrize(
    ("name", "id", "is_spent"),
    [
        ("a.conf", "a.conf", False),
        ("a+3.conf", "a.conf", False),
        ("a+0-3.conf", "a.conf", True),
        ("a+b+1.conf", "a+b.conf", False),
        ("a+x.conf", "a+x.conf", False),
        ("+3.conf", "+3.conf", False),
    ],
)
def test_counters_of_attempts(name: str, id: str, is_spent: bool) -> None:
    entry = read(name, "linux /linux\n")
    assert (entry.id, entry.is_spent) == (id, is_spent)


@pytest.mark.parametrize("number", range(len(ORDERS)))
def test_order_agrees_with_bootctl(number: int) -> None:
    entries = [read(name, text) for name, text in ORDERS[number]["entries"].items()]
    ours = [entry.path.rpartition("\\")[2] for entry in sorted(entries, key=order_key)]
    assert ours == ORDERS[number]["listed"]


def test_versions_agree_with_systemd() -> None:
    """As systemd-analyze compares them; it ends with 0 for equal, 11 for newer, 12 for older ones."""
    random = Random(7)
    parts = ["0", "1", "10", "2", "a", "b", "rc", "~", "^", "-", ".", ".", "_", "00"]
    for _ in range(60):
        one = "".join(random.choices(parts, k=random.randint(0, 6)))
        other = random.choice(["".join(random.choices(parts, k=4)), one + random.choice(parts)])
        command = ["systemd-analyze", "compare-versions", "--", one, other]
        status = subprocess.run(command, capture_output=True, check=False).returncode
        ours = compare_versions(one, other)
        assert (ours > 0) - (ours < 0) == {0: 0, 11: 1, 12: -1}[status], (one, other)


def test_a_hostile_entry_is_bounded() -> None:
    entry = read("a.conf", "linux /y\n" + "initrd /x\n" * 6000 + "options " + "root=UUID=1A2B-3C4D " * 100)
    assert len(entry.stanza.targets) == 40
