"""A stick with a shell as one more disk: when would this firmware start it?"""

from __future__ import annotations

import pytest

from bootwatch.formats.pe import Image
from bootwatch.judge.made_option import option_for
from bootwatch.judge.stick_start import Stick, stick_start
from bootwatch.model.snapshot import State
from tests.judge.states import DEFAULT, FERNWICK, FERNWICK_PART, STICK, disk, program, state
from tests.roots import program as bytes_of_program

SHELL = Image.parse(bytes_of_program("shell"))
ON = {"SecureBoot": b"\1"}


def machine(*files: str, **variables: bytes) -> State:
    """Fernwick Linux's entry, and which of its files are there."""
    own = disk("d15c0000-0000-4000-8000-000000000001", FERNWICK_PART)
    held = state([(own, 1, dict.fromkeys(files, program("fernwick")))])
    (volume,) = held.volumes.values()
    option = option_for(held, volume, FERNWICK, "Fernwick Linux")
    assert option
    volumes = [(own, 1, dict.fromkeys(files, program("fernwick")))]
    return state(volumes, entries={0: option}, order=(0,), variables=variables)


def told(held: State, *, removable: bool = True) -> tuple[bool | None, bool | None, bool]:
    found = stick_start(held, (), Stick(STICK.format(1), removable, SHELL))
    return found.chosen.starts, found.by_itself.starts, found.at_last


@pytest.mark.parametrize(
    ("held", "removable", "expected"),
    [
        # its entry starts before it; where that is gone, recovery comes to removable disks first
        (machine(FERNWICK), True, (True, False, True)),
        (machine(), True, (True, True, True)),
        (machine(DEFAULT), True, (True, True, True)),
        # what was asked for once only is no part of it
        (machine(FERNWICK, BootNext=b"\7\0"), True, (True, False, True)),
    ],
)
def test_when_it_starts(held: State, removable: bool, expected: tuple[bool, bool, bool]) -> None:
    assert told(held, removable=removable) == expected


def test_secure_boot_refuses_a_shell_that_nobody_signed() -> None:
    found = stick_start(machine(**ON, db=b""), (), Stick("", True, SHELL))
    assert (found.chosen.starts, found.by_itself.starts, found.at_last) == (False, False, False)
    assert "Secure Boot" in found.chosen.why


def test_what_was_in_its_place_is_not_there_twice() -> None:
    """The stick was in when the snapshot was taken, with another system on it."""
    former = disk("57100000-0000-4000-8000-000000000001", "57100000-0001-4000-8000-000000000001",
                  address=STICK.format(1), removable=True)  # fmt: skip
    held = state([(former, 1, {DEFAULT: program("tarn")})])
    assert told(held) == (True, True, True)
