"""Whatever is wrong with the folder that all is kept in: said plainly, and nothing in it is overwritten."""

from __future__ import annotations

from pathlib import Path

import pytest

from bootwatch.keep.history import FILE_NAME
from tests.roots import QUARRY_LOADER, TARN_LOADER, program
from tests.service.killing import Machine
from tests.service.state_faults import FAULTS, Fault, agrees, play, prepared

Prepared = tuple[Machine, Path]


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Prepared:
    return prepared(tmp_path_factory.mktemp("state"))


def _marks(fault: Fault) -> pytest.MarkDecorator:
    return pytest.mark.long if fault.quick else pytest.mark.whole


@pytest.mark.parametrize(
    "fault", [pytest.param(one, id=one.name.replace(" ", "-"), marks=_marks(one)) for one in FAULTS]
)
def test_a_fault(told: Prepared, fault: Fault) -> None:
    found = play(fault, *told)
    assert found.problems == ()
    assert agrees(fault, found), found
    assert fault.said in found.said
    if found.ends.startswith("3"):
        assert "Quarry" in found.log_in or "keep" in found.log_in, "what changed is seen at log-in"
        assert "could not record that" in found.log_in


@pytest.mark.long
def test_what_was_told_goes_on_where_its_history_was_lost(told: Prepared) -> None:
    """One alert: its first message was told by a history that is lost, and its last by a third one."""
    machine, before = told
    machine.put_back(before)
    path = machine.places.history / FILE_NAME
    path.write_bytes(b"lost")
    assert "snapshots go on from 4" in machine("snapshot").err
    assert machine.kept().snapshots == (4,)
    machine.root.remove("vdb", 5, TARN_LOADER)
    assert machine("snapshot").status == 0
    path.unlink()
    assert machine("snapshot").status == 0
    assert machine.kept().snapshots == (6,)
    assert [told[:3] for told in machine.kept().messages.values()] == [("news", "a1", 1), ("news", "a1", 2)]
    machine.root.put("vdb", 5, TARN_LOADER, program("tarn 1"))
    machine.root.put("vdb", 1, QUARRY_LOADER, program("quarry 1"))
    assert machine("baseline", "save", "--reason", "good", "--yes").status == 0
    last = sorted(machine.kept().messages.values(), key=lambda told: told[2])
    assert [told[:3] for told in last[2:]] == [("all-clear", "a1", 3)]
    assert [one.name for one in path.parent.glob("*.damaged-*")], "it was put aside"
    path.unlink()
    assert machine("snapshot").status == 0
    assert len(machine.kept().messages) == 3, "what is over is not told again"
    machine.root.remove("vdb", 1, QUARRY_LOADER)
