"""Why a snapshot was taken."""

from __future__ import annotations

from enum import StrEnum


class Moment(StrEnum):
    """Why a snapshot was taken."""

    BOOT = "boot"
    ASKED = "asked"
    WATCH = "watch"
    SHUTDOWN = "shutdown"
    RESUME = "resume"
