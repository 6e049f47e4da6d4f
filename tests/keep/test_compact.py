"""Records that lie in few bytes give back what they were given, whatever that was."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from bootwatch.keep import compact
from bootwatch.keep.canonical import canonical
from bootwatch.keep.circumstances import unpacked
from bootwatch.keep.history import History

VALUES = some.recursive(
    some.none() | some.integers() | some.floats(allow_nan=False) | some.text(max_size=5),
    lambda inner: some.lists(inner, max_size=3) | some.dictionaries(some.text(max_size=2), inner, max_size=3),
    max_leaves=8,
)
BOOTS = some.none() | some.text(max_size=6) | some.uuids().map(str) | some.just("A\nb")
TIMES = ("2026-11-27T08:00:00Z", "2026-11-27T08:00:00.5Z", "1969-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "")
CIRCUMSTANCES = some.fixed_dictionaries(
    {
        "boot_id": BOOTS,
        "moment": some.sampled_from(("boot", "asked")),
        "time": some.sampled_from(TIMES),
        "variables": some.dictionaries(some.integers(0, 150).map(str), VALUES, max_size=5),
    },
    optional=dict.fromkeys(("mounts", "dirty", "kernel"), VALUES),
)


@pytest.mark.long
def test_every_circumstance_comes_back_as_it_was(tmp_path: Path) -> None:
    """One after the other, since each is stored by what differs from one before it."""
    nothing = {"state": "own", "gaps": "own", "overview": "own", "result": None, "baseline": None}
    with History.open(tmp_path) as history:
        database = history.database
        database.execute("INSERT INTO document (digest, text) VALUES ('own', '{}')")

        @settings(max_examples=150, deadline=None, derandomize=True)
        @given(some.lists(CIRCUMSTANCES, min_size=1, max_size=5))
        def come_back(kept: list[dict[str, Any]]) -> None:
            database.execute("BEGIN")
            try:
                for one in kept:
                    number = compact.add(database, one, nothing)
                    text, boot, time = database.execute(
                        "SELECT circumstance, boot_id, time FROM snapshot WHERE number = ?", (number,)
                    ).fetchone()
                    assert canonical(unpacked(text)) == canonical(one)
                    assert (boot, time) == (one["boot_id"], one["time"])
            finally:
                database.execute("ROLLBACK")

        come_back()
