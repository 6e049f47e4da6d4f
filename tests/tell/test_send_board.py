"""What is shown of the sending to whoever logs in."""

from __future__ import annotations

from bootwatch.keep.receipts import Receipt
from bootwatch.tell.send_board import Untold, log_in_lines

BUSY = "mail.example.org:587 refuses the recipient: 450 mailbox busy"
GONE = "mail.example.org:587 refuses the recipient: 550 no such user"


def _untold(name: str, why: str, *, final: bool, attempts: int = 6, day: int = 25) -> Untold:
    time = f"2026-11-{day}T07:12:00+00:00"
    return Untold("m", Receipt(name, "failed", why, attempts, time, time, None, final, "s"))


def test_a_few_failed_attempts_bother_nobody() -> None:
    assert log_in_lines([], [_untold("Anna", BUSY, final=False, attempts=4)]) == ""


def test_what_is_tried_again_and_what_is_given_up_are_told_apart() -> None:
    assert log_in_lines([], [_untold("Anna", BUSY, final=False)]).splitlines() == [
        "bootwatch: could not tell Anna of changes since 2026-11-25 07:12 UTC",
        f"  {BUSY}",
        "  it is tried again by itself; to try the address: sudo bootwatch alerts test",
    ]
    assert log_in_lines([], [_untold("Anna", GONE, final=True, attempts=1)]).splitlines()[1:] == [
        f"  {GONE}",
        "  given up; mend the address, then try it: sudo bootwatch alerts test",
    ]


def test_of_several_the_one_that_was_given_up_is_explained() -> None:
    stuck = [_untold(name, BUSY, final=False, day=20 + n) for n, name in enumerate("ABCDE")]
    said = " ".join(log_in_lines([], [*stuck, _untold("Ben", GONE, final=True)]).split())
    assert "could not tell A, B, C and 3 more of changes since 2026-11-20 07:12 UTC Ben: " in said
    assert f"Ben: {GONE} given up" in said


def test_hostile_words_stay_in_their_lines() -> None:
    said = log_in_lines([], [_untold("\x1b[2J" * 30, "no\nBcc: all \x1b]0;x" + "w" * 500, final=True)] * 5)
    assert "\x1b" not in said and len(said.splitlines()) <= 7
    assert max(map(len, said.splitlines())) <= 78
