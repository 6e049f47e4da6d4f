"""What a rehearsal proposes can be done."""

from __future__ import annotations

import pytest

from bootwatch.judge.rehearsal import rehearse
from bootwatch.judge.systems import Systems
from bootwatch.model.volume import File
from tests.judge.dual import ATTIC, ENTRIES, HALL, ON_ATTIC
from tests.judge.states import DEFAULT, FERNWICK, folder, program, state


@pytest.mark.parametrize(("there", "proposed"), [({}, True), ({DEFAULT: folder()}, False)])
def test_no_copy_is_put_where_a_folder_is(there: dict[str, File], proposed: bool) -> None:
    held = state(
        ((HALL, 1, {FERNWICK: program("fernwick"), **there}), (ATTIC, 1, ON_ATTIC)),
        entries=ENTRIES,
        order=(0, 1),
    )
    found = rehearse(held, (), Systems.learn([held]), None)
    mends = [remedy.mend.what for system in found.systems for remedy in system.remedies]
    assert any(f"a copy of {FERNWICK} at {DEFAULT}" in what for what in mends) is proposed
