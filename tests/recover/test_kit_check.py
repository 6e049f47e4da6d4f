"""A recovery kit tried on a whole machine root: would it bring every system back?"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.commands import Commands
from tests.recover.kits import kit, made, stick
from tests.recover.test_restore import good, machine

__all__ = ["good", "kit", "machine", "made", "stick"]
pytestmark = pytest.mark.long


def test_tried_under_every_loss(kit: Path, machine: Commands) -> None:
    said = machine("baseline", "export", "--check", str(kit), "--json")
    assert (said.status, said.document["back"]) == (0, True)
    found = {one["kind"]: one["back"] for one in said.document["losses"]}
    assert (found["all-entries"], found["file"], found["volume"], found["disk"]) == (True, True, True, False)
    shown = machine("baseline", "export", "--check", str(kit))
    assert "It brings Fernwick Linux, Quarry and Tarn Rescue back: yes" in " ".join(shown.out.split())


def test_a_copy_that_is_lacking_is_no_yes(machine: Commands, stick: Path) -> None:
    spares = machine.root.folder / "var/lib/bootwatch/spares"
    for spare in spares.iterdir():
        spare.unlink()
    assert machine("baseline", "export", "--to", str(stick)).status == 0
    said = machine("baseline", "export", "--check", str(stick), "--json")
    assert (said.status, said.document["back"]) == (1, False)
    whys = [one["why"] for one in said.document["losses"] if one["kind"] == "folder"]
    assert any("no copy of it was kept" in why for why in whys)
