"""A reading in spite of trouble with the folder that it is recorded in."""

from __future__ import annotations

import contextlib
import os
import pwd

from bootwatch.keep.damage import DamagedHistory, put_aside
from bootwatch.keep.files import is_read_only, may_write, nearest_folder
from bootwatch.model.moment import Moment
from bootwatch.places import Places
from bootwatch.problem import MachineProblem, Problem
from bootwatch.service.alone import alone
from bootwatch.service.read import Reading, look_with_routes, publish, read
from bootwatch.tell import board


def record(places: Places, moment: Moment, *, tell: bool, keep_programs: bool) -> Reading:
    """`read`, with a new history where the old one turns out to be damaged while it is used.

    Where nothing can be recorded, what the machine looks like is left for whoever logs in all the same.
    Raises Problem then.
    """
    try:
        try:
            return read(places, moment, tell=tell, keep_programs=keep_programs)
        except DamagedHistory as damaged:
            with alone(places):
                put_aside(damaged.path)
        return read(places, moment, tell=tell, keep_programs=keep_programs)
    except Problem as problem:
        _leave_for_log_in(places, problem)
        raise


def no_rights(places: Places) -> MachineProblem:
    """Why the caller may not record anything; it is said to whoever logs in, too, where that can be."""
    folder = nearest_folder(places.history)
    problem = _read_only(places) if is_read_only(folder) else _not_yours(places, folder.stat().st_uid)
    _leave_for_log_in(places, problem)
    return problem


def _read_only(places: Places) -> MachineProblem:
    return MachineProblem(
        f"Nothing can be recorded in {places.history}: its file system is read-only.",
        "A failing disk may be why: journalctl -k -p warning",
    )


def _not_yours(places: Places, owner: int) -> MachineProblem:
    try:
        whose = f"the user {pwd.getpwuid(owner).pw_name}"
    except KeyError:
        whose = f"a user whom nobody knows here ({owner})"
    return MachineProblem(
        f"You may not record anything in {places.history}: it belongs to {whose}.",
        "Run it with sudo." if os.geteuid() else "Name another folder with --state.",
    )


def _leave_for_log_in(places: Places, problem: Problem) -> None:
    """It was not recorded, and nobody is told: so whoever logs in must see it."""
    if places.run is None or not may_write(places.run):
        return
    with contextlib.suppress(Problem, OSError):
        publish(places, look_with_routes(places), None, "")
        board.add_to_log_in(places, f"bootwatch could not record that, or tell of it: {problem.message}")
