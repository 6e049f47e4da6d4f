"""No system starts any more: the kit's startup.nsh in the firmware's own shell, then each system started.

Every damage that it is for: test_restore.py."""

from pathlib import Path

import pytest

from tests.firmware.damages import DAMAGES
from tests.firmware.restore_machine import Dual
from tests.firmware.restore_ways import proof
from tests.firmware.shell_way import begin, by_shell, give_back, typed, with_stick

pytestmark = pytest.mark.firmware


def damaged(folder: Path, name: str) -> Dual:
    dual = Dual.made(folder, full=DAMAGES[name].full)
    dual.save_baseline()
    DAMAGES[name].do(dual)
    return dual


def test_the_usual_one_starts_again_after_its_loader_was_emptied(tmp_path: Path) -> None:
    dual = damaged(tmp_path, "loader emptied")
    assert "loaderx64.efi: put back" in by_shell(dual)
    assert proof(dual).as_usual


@pytest.mark.whole
def test_both_start_after_volumes_emptied_and_entries_gone(tmp_path: Path) -> None:
    """Files come back onto their volumes, entries byte for byte."""
    dual = damaged(tmp_path, "both boot volumes emptied, a fresh store")
    said = by_shell(dual)
    assert "(Fernwick Linux): written as Boot00" in said
    assert "startx64.efi: put back" in said
    assert proof(dual).as_usual


@pytest.mark.whole
@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("partition re-created and formatted (new PARTUUID)", "(FERNWICK): not found"),
        ("loader cut off in the middle", "left as it is"),
    ],
)
def test_what_it_can_not_put_back_is_said(name: str, why: str, tmp_path: Path) -> None:
    said = by_shell(damaged(tmp_path, name))
    assert why in said and "the sheet in this kit says what can" in " ".join(said.split())
    assert "Nothing of this is missing" not in said


@pytest.mark.parametrize(
    "command",
    [
        'dmpstore -l "%0\\..\\entries.dmpstore"',
        pytest.param('"%0\\..\\entries.nsh"', marks=pytest.mark.whole),
    ],
    ids=["dmpstore", "setvar"],
)
def test_exactly_the_former_variables(command: str, tmp_path: Path) -> None:
    """The shell's own commands take what the kit holds, and the firmware's store has every byte of it."""
    dual = Dual.made(tmp_path)
    dual.save_baseline()
    with dual.variables() as variables:
        former = {name: variables.get(name) for name in variables.names() if name.startswith("Boot")}
    DAMAGES["both entries deleted"].do(dual)
    DAMAGES["a new entry in front starts the other system"].do(dual)
    machine = with_stick(dual, f"{command}\r\nreset -s\r\n".encode())
    with machine.running() as process:
        begin(process)
        process.wait_text("startup.nsh")
        typed(process, "\n")
        process.wait_end()
    give_back(dual)
    with dual.variables() as variables:
        assert {name: variables.get(name) for name in former} == former
