"""What the commands that write the baseline have in common."""

from __future__ import annotations

import argparse
import os
import pwd
import sys

from bootwatch.cli.result import newest
from bootwatch.cli.snapshot import PROGRAMS, RECOMPARE, require_rights, take
from bootwatch.keep.history import Row
from bootwatch.places import Places
from bootwatch.problem import MachineProblem, Problem, UsageProblem
from bootwatch.service.ask import ask_for_reading, must_ask
from bootwatch.service.save import Saved
from bootwatch.tell.made_anew import made_anew_lines
from bootwatch.tell.plain import plain


def read_for_baseline(places: Places) -> Row:
    """A fresh snapshot, with the programs left for the spares."""
    if must_ask(places):
        ask_for_reading(PROGRAMS)
    else:
        require_rights(places)
        take(places, PROGRAMS)
    row = newest(places)
    if row is None:
        raise MachineProblem(
            "No snapshot was recorded.", "See: journalctl -u bootwatch-read@asked-programs -n 20"
        )
    return row


def compare_again(places: Places) -> None:
    """Have the newest snapshot compared with the baseline that was just written. Raises Problem."""
    try:
        if must_ask(places):
            ask_for_reading(RECOMPARE)
        else:
            take(places, RECOMPARE)
    except Problem as problem:
        said = f"The baseline is saved, but what comes after it failed: {problem.message}"
        raise Problem(said, problem.hint) from problem


def reason_in(text: str, why: str) -> str:
    """The reason in one line. Raises UsageProblem where there is none; ``why`` says what to give one for."""
    # What isn't text in the caller's encoding can't be kept as text.
    reason = " ".join(text.encode("utf-8", "replace").decode().split())
    if not reason:
        raise UsageProblem("The reason is empty.", f"Say in a few words why {why}: --reason TEXT")
    return reason


def is_agreed(arguments: argparse.Namespace, question: str) -> bool:
    """Whether to go on. Who names a reason in a script has looked already; at a terminal one is asked."""
    if arguments.yes or arguments.json or not sys.stdin.isatty():
        return True
    print(f"{question} [y/N]: ", end="", flush=True)
    if sys.stdin.readline().strip().lower() in ("y", "yes"):
        return True
    print("Nothing was saved.", file=sys.stderr)
    return False


def who() -> str:
    """The person, also behind sudo."""
    name = os.environ.get("SUDO_USER")
    if name and os.geteuid() == 0:
        return name
    try:
        return pwd.getpwuid(os.getuid()).pw_name
    except KeyError:
        return str(os.getuid())


def without_spare(saved: Saved, width: int = 80) -> str:
    """What to say of files that could not be brought back; "" where there are none."""
    lines = made_anew_lines(saved.without_files, "Not among the spares", width)
    if saved.without:
        lines += [f"No spare could be kept of: {', '.join(map(plain, saved.without))}"]
    return "".join(f"{line}\n" for line in lines)
