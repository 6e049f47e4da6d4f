"""The end of a quiet time, as people write it."""

from __future__ import annotations

import datetime
import re

from bootwatch.problem import UsageProblem

_SPAN = re.compile(r"(\d{1,4})\s*(h|d|w)", re.ASCII)
_UNITS = {"h": "hours", "d": "days", "w": "weeks"}
_LONGEST = datetime.timedelta(days=366)
_FORMS = "It is a date (2026-12-24), with a time (2026-12-24 18:00), a span (12h, 3d, 2w), or now."


def until(text: str, now: datetime.datetime, zone: datetime.tzinfo | None = None) -> datetime.datetime | None:
    """When a quiet time ends that begins ``now``; None for "now". A date means its beginning; a time without
    a zone is one of ``zone``, None for that of this machine, as it holds on that day.

    Raises UsageProblem for what is no time, past, or more than a year away."""
    if text == "now":
        return None
    found = _span(text, now) or _moment(text, zone)
    if found is None:
        raise UsageProblem(f"{text!r} is no time to be quiet until.", _FORMS)
    if found <= now:
        raise UsageProblem(f"{text} is past already.", f"{_FORMS} To have reminders again: --until now")
    if found - now > _LONGEST:
        raise UsageProblem(f"{text} is too far away: an alert is quiet for a year at most.", _FORMS)
    return found


def _span(text: str, now: datetime.datetime) -> datetime.datetime | None:
    match = _SPAN.fullmatch(text)
    if match is None:
        return None
    return now + datetime.timedelta(**{_UNITS[match[2]]: int(match[1])})


def _moment(text: str, zone: datetime.tzinfo | None) -> datetime.datetime | None:
    try:
        found = datetime.datetime.fromisoformat(text)
        if found.tzinfo:
            return found
        return found.replace(tzinfo=zone) if zone else found.astimezone()
    except (ValueError, OverflowError):
        return None
