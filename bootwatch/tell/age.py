"""How long ago something was."""

from __future__ import annotations

import datetime

_UNITS = ((86400, "day"), (3600, "hour"), (60, "minute"))


def age(time: str, now: datetime.datetime | None = None) -> str:
    """How long ago an RFC 3339 time was, in words such as "3 minutes ago"."""
    try:
        then = datetime.datetime.fromisoformat(time)
        seconds = ((now or datetime.datetime.now(datetime.UTC)) - then).total_seconds()
    except (TypeError, ValueError):
        return "at an unknown time"
    if seconds < -60:
        return "at a time that is still to come (was the clock set back?)"
    for size, unit in _UNITS:
        count = int(seconds // size)
        if count:
            return f"{count} {unit}{'' if count == 1 else 's'} ago"
    return "less than a minute ago"
