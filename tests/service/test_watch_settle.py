"""When the watch asks: seconds by hand, no clock."""

from __future__ import annotations

from bootwatch.service.watch_settle import Settling


def test_a_burst_is_one_question_once_it_is_over() -> None:
    settling = Settling(3, 60)
    assert settling.due is None
    for second in (10.0, 11.0, 13.5):
        settling.note(second)
    assert settling.due == 16.5
    settling.asked(16.5)
    assert settling.due is None


def test_changes_without_end_are_asked_about_all_the_same() -> None:
    settling = Settling(3, 60)
    for second in range(100, 200):
        settling.note(second)
    assert settling.due == 160


def test_the_first_of_several_bursts_waits_least() -> None:
    """What writes every ten seconds all day has the machine read once a minute, not every ten seconds."""
    settling, now, waits = Settling(3, 60), 1000.0, []
    for _ in range(8):
        settling.note(now)
        due = settling.due
        assert due
        waits.append(due - now)
        settling.asked(due)
        now = due + 10
    # Between two questions lie at least 0, 3, 6, 12, 24, 48, 60 seconds, of which ten have passed.
    assert waits == [3, 3, 3, 3, 3, 14, 38, 50]


def test_after_a_quiet_while_nothing_has_to_wait() -> None:
    settling = Settling(3, 60)
    for now in (0.0, 10.0, 20.0, 30.0, 40.0):
        settling.note(now)
        settling.asked(now + 3)
    settling.note(43 + 120)
    settling.asked(43 + 123)
    settling.note(43 + 130)
    assert settling.due == 43 + 133
