"""What root writes at all: steps that its own baseline bears out, at paths that a boot volume can hold."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from bootwatch.judge.drafts import stable_id
from bootwatch.judge.entries import variable_of
from bootwatch.model.disk import ESP
from bootwatch.model.variable import Variable
from bootwatch.problem import Problem
from bootwatch.recover.allowed import require_allowed
from bootwatch.recover.paths import parts_of
from bootwatch.recover.steps import SetType, Step, WriteEntry, WriteOrder
from tests.judge.dual import TO_FERNWICK, TO_QUARRY
from tests.judge.paths import drive, file, option
from tests.judge.states import FERNWICK_PART, QUARRY, QUARRY_PART
from tests.recover.plans import whole, with_variable
from tests.roots import DATA_PART, DATA_TYPE

PROJECT = Path(__file__).resolve().parents[2]
FOREIGN = option("Quarry", drive(QUARRY_PART), file("\\EFI\\evil.efi"))
TARN = option("Tarn Rescue", drive(QUARRY_PART), file("\\EFI\\tarn\\rescuex64.efi"))
SWITCHED_OFF = option("Quarry", drive(QUARRY_PART), file(QUARRY), attributes=0)


def entry(data: bytes, over: bytes | None) -> WriteEntry:
    return WriteEntry(1, data, "Quarry", over, "why")


@pytest.mark.parametrize(
    "step",
    [
        entry(TO_QUARRY, None),
        entry(TO_QUARRY, SWITCHED_OFF),
        entry(TO_QUARRY, FOREIGN),
        WriteOrder((0, 1), (0,), "why"),
        WriteOrder((0, 1, 5, 5), (5, 0, 5), "why"),  # twice before, twice after
        WriteOrder((0, 1), (), "why"),
    ],
)
def test_what_brings_back_what_the_baseline_holds(step: Step) -> None:
    require_allowed([step], whole(), {})


@pytest.mark.parametrize(
    "step",
    [
        entry(FOREIGN, None),
        # Somebody's entry, switched on by fields that are the baseline's.
        entry(FOREIGN, option("Quarry", drive(QUARRY_PART), file("\\EFI\\evil.efi"), attributes=0)),
        entry(option("Quarry", drive(FERNWICK_PART), file(QUARRY)), None),
        # Fernwick Linux' own entry is whole: nothing takes its place.
        WriteEntry(0, TO_QUARRY, "Quarry", TO_FERNWICK, "why"),
        # Somebody's entry of another name and place, which would lead to Quarry and be gone.
        WriteEntry(5, option("Tarn Rescue", drive(QUARRY_PART), file(QUARRY)), "Quarry", TARN, "why"),
        entry(TO_QUARRY, b""),
        entry(TO_QUARRY, b"\1\0"),
        WriteOrder((0, 0, 1), (0,), "why"),
        WriteOrder((1, 0, 1), (0,), "why"),
        WriteOrder((0,), (0, 5), "why"),
        WriteOrder((0, 9), (0,), "why"),
    ],
)
def test_what_does_not(step: Step) -> None:
    with pytest.raises(Problem, match="doesn't bear out"):
        require_allowed([step], whole(), {})


ON_QUARRY = f"gpt:{QUARRY_PART}"
RETYPED = stable_id("partition-retyped", (ON_QUARRY,))


def test_type_that_the_baseline_has_and_a_person_named() -> None:
    require_allowed([SetType(ON_QUARRY, ESP, DATA_TYPE, "why")], whole(), {}, [RETYPED])


@pytest.mark.parametrize(
    ("step", "also"),
    [
        (SetType(ON_QUARRY, ESP, DATA_TYPE, "why"), []),
        (
            SetType(ON_QUARRY, ESP, DATA_TYPE, "why"),
            [stable_id("partition-retyped", (f"gpt:{FERNWICK_PART}",))],
        ),
        (SetType(ON_QUARRY, DATA_TYPE, ESP, "why"), [RETYPED]),
        (SetType(f"gpt:{DATA_PART}", ESP, DATA_TYPE, "why"), [RETYPED]),
    ],
)
def test_type_that_it_does_not(step: Step, also: list[str]) -> None:
    with pytest.raises(Problem, match="doesn't bear out"):
        require_allowed([step], whole(), {}, also)


WITH_TARN = with_variable(whole(), "Boot0005", TARN).variables
TAKEN = with_variable(whole(), "Boot0001", TARN).variables  # Quarry's number is somebody else's by now
MOVED = dict(with_variable(whole(), "Boot0008", TO_QUARRY).variables)
del MOVED[variable_of(1)]


@pytest.mark.parametrize(
    ("order", "over", "variables"),
    [
        ((0, 1, 5), (1, 0, 5), WITH_TARN),
        ((0, 1, 5), (5, 1, 0), WITH_TARN),
        ((5, 0, 1), (5, 1), WITH_TARN),  # Tarn Rescue came first, whoever wanted it so
        ((0, 8, 5), (8, 5, 0), MOVED),
        ((0, 1), (1,), TAKEN),
    ],
)
def test_order_that_puts_what_the_baseline_had_in_front(
    order: tuple[int, ...], over: tuple[int, ...], variables: dict[str, Variable]
) -> None:
    require_allowed([WriteOrder(order, over, "why")], whole(), variables)


@pytest.mark.parametrize(
    ("order", "over", "variables"),
    [
        ((5, 0, 1), (0, 1, 5), WITH_TARN),
        ((0, 5, 1), (0, 1, 5), WITH_TARN),  # second is what starts where the first fails
        ((5, 0, 1), (0, 1), WITH_TARN),
        ((1, 0, 5), (0, 1, 5), WITH_TARN),
        ((8, 0), (0, 8), MOVED),
        ((1, 0), (0, 1), TAKEN),
        ((5,), (), WITH_TARN),
    ],
)
def test_order_that_puts_another_one_in_front(
    order: tuple[int, ...], over: tuple[int, ...], variables: dict[str, Variable]
) -> None:
    """As a subverted reader would have it: an entry that somebody made, tried before the systems."""
    with pytest.raises(Problem, match="doesn't bear out"):
        require_allowed([WriteOrder(order, over, "why")], whole(), variables)


def test_paths_that_a_boot_volume_can_hold() -> None:
    assert parts_of("\\EFI\\Grüße\\com10.efi") == ["EFI", "Grüße", "com10.efi"]
    assert parts_of("\\" + "\U0001f600" * 127)


# Microsoft FAT specification 7.4; names of devices in other systems.
@pytest.mark.parametrize(
    "path",
    [
        *("", "\\", "EFI\\x.efi", "\\EFI\\..\\x", "\\EFI\\.\\x", "\\\\x", "\\EFI\\", "\\EFI/x", "C:\\x"),
        *(
            "\\EFI\\nul",
            "\\Com1.efi",
            "\\EFI\\LPT9.tar.gz",
            "\\aux .txt",
            "\\x ",
            "\\x.",
            "\\a\0b",
            "\\a\x1fb",
        ),
        *('\\a"b', "\\a*", "\\a?", "\\a|b", "\\a<b", "\\\ud83d", "\\" + "x" * 256, "\\" + "\U0001f600" * 128),
    ],
)
def test_paths_that_it_can_not(path: str) -> None:
    with pytest.raises(Problem):
        parts_of(path)


MOUNTED = """
import os, sys
from bootwatch.recover import volumes
before = open(f"/proc/{os.getppid()}/mountinfo").read()
with volumes.mounted("none", "gpt:x", "ramfs") as folder:
    (folder / "file").write_text("x")
    assert str(folder) in open("/proc/self/mountinfo").read()
    assert str(folder) not in open(f"/proc/{os.getppid()}/mountinfo").read()
    print(folder, flush=True)
    if sys.argv[1] == "killed":
        os.kill(os.getpid(), 9)
    if sys.argv[1] == "held":
        keep = open(folder / "file")
assert not os.path.exists(folder)
assert str(folder) not in open("/proc/self/mountinfo").read()
"""


@pytest.mark.long
@pytest.mark.parametrize("how", ["ended", "killed", "held"])
def test_temporary_mount_is_nobody_elses_and_goes_with_the_process(how: str) -> None:
    """A file that is held open keeps it from being unmounted: then nothing in it is deleted either."""
    done = subprocess.run(
        [sys.executable, "-c", MOUNTED, how], cwd=PROJECT, capture_output=True, text=True, check=False
    )
    folder = Path(done.stdout.strip())
    assert done.returncode == {"ended": 0, "killed": -9, "held": 1}[how], done.stderr
    if how == "held":
        assert "could not be unmounted" in done.stderr
    assert str(folder) not in Path("/proc/self/mountinfo").read_text()
    if folder.exists():
        folder.rmdir()  # empty: what was mounted there is gone
