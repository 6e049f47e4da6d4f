"""The fewest things that will do, and how often it is tried."""

import pytest

from bootwatch.recover.fewest import fewest


@pytest.mark.parametrize(
    ("count", "needed", "tries"),
    [(0, set(), 0), (1, {0}, 1), (1, set(), 1), (500, set(), 2), (500, {0, 250, 499}, 60), (99, {3, 4}, 40)],
)
def test_no_more_than_are_needed(count: int, needed: set[int], tries: int) -> None:
    tried = []

    def will_do(things: list[int]) -> bool:
        tried.append(things)
        return needed <= set(things)

    assert fewest(range(count), will_do, 1000) == sorted(needed)
    assert len(tried) <= tries


def test_what_only_goes_together_stays_together() -> None:
    """Either both or none of a pair will do: what is left will do, though not each thing is needed alone."""

    def will_do(things: list[int]) -> bool:
        return 7 in things and (3 in things) == (60 in things)

    assert will_do(fewest(range(64), will_do, 1000))


def test_no_more_tries_than_allowed() -> None:
    tried = []

    def will_do(things: list[int]) -> bool:
        tried.append(things)
        return len(things) >= 90

    assert len(fewest(range(100), will_do, 5)) >= 90
    assert len(tried) == 5
