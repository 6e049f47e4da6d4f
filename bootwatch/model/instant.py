"""Instants as documents hold them."""

from __future__ import annotations

import datetime


def written(instant: datetime.datetime) -> str:
    """In UTC to the second, as RFC 3339 with Z. ``instant`` knows its zone."""
    return instant.astimezone(datetime.UTC).replace(tzinfo=None).isoformat(timespec="seconds") + "Z"
