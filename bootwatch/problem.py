"""Mistakes and obstacles that people can do something about.

Problem
├── UsageProblem      wrong usage or configuration (exit status 2)
├── BaselineProblem   there is no baseline yet (exit status 4)
└── MachineProblem    the machine can't be read (exit status 3)
"""

from __future__ import annotations


class Problem(Exception):
    """An expected failure: one line that says what happened to what, and a hint what to do."""

    status = 3

    def __init__(self, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint


class UsageProblem(Problem):
    """Wrong usage or configuration."""

    status = 2


class MachineProblem(Problem):
    """The machine, or something that the baseline holds, could not be read."""

    status = 3


class BaselineProblem(Problem):
    """There is no baseline yet."""

    status = 4
