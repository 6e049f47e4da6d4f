"""What was damaged is brought back, in each way, and the real firmware starts both systems."""

import pytest

from tests.firmware.damages import DAMAGES
from tests.firmware.restore_table import line, rows
from tests.firmware.restore_ways import UNABLE, WAYS, can_try

pytestmark = pytest.mark.firmware

SAMPLE = (
    "the usual system's entry deleted",
    "entry's number taken by another",
    "loader deleted",
    "boot volume re-formatted",
    "both boot volumes emptied, a fresh store",
)


def test_where_a_way_can_not_another_one_can() -> None:
    """But for what only a person can say: which system was usual."""
    for (damage, _), unable in UNABLE.items():
        other = unable.instead
        assert damage in DAMAGES
        assert not other or (
            other in WAYS and (damage, other) not in UNABLE and can_try(DAMAGES[damage], other)
        )


def test_both_start_after_a_sample_of_damages() -> None:
    found = rows([DAMAGES[name] for name in SAMPLE], ["restore"])
    assert [line(row) for row in found if not row.is_back] == []


@pytest.mark.whole
@pytest.mark.parametrize("way", WAYS)
def test_both_start_after_every_damage(way: str) -> None:
    found = list(rows(DAMAGES.values(), [way], before=way == "restore"))
    assert [line(row) for row in found if row.is_back is ((row.damage, way) in UNABLE)] == []
    # The damage has to be one, or nothing was tried.
    wrong = [row for row in found if row.before and row.before.as_usual is DAMAGES[row.damage].is_lost]
    assert [line(row) for row in wrong] == []
