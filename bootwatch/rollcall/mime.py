"""Our parts out of a mail (RFC 2045, 2046), whoever wrote it: small and plain mails only, since ours are."""

from __future__ import annotations

import datetime
import email.utils
from collections.abc import Iterator
from dataclasses import dataclass
from email.message import Message
from email.parser import BytesParser
from email.policy import Compat32

from bootwatch.tell import part

# More of any of these make the library slow, and no mail of ours has a tenth of them.
_MOST_LINES = 20_000
_MOST_BOUNDARIES = 20
_MOST_DASHED = 1_000
_MOST_HEADER = 2_000
_MOST_PARTS = 5
_MOST_RECEIVED = 50


class _Bounded(Compat32):
    """Headers as they are, but no longer than anything in ours."""

    def header_source_parse(self, sourcelines: list[str]) -> tuple[str, str]:
        name, value = super().header_source_parse(sourcelines)
        return name[:200], value[:_MOST_HEADER]


_PARSER = BytesParser(policy=_Bounded())


@dataclass(frozen=True)
class Mail:
    """The parts that say they are ours, not opened yet. ``dated`` is by the sender's clock, ``came`` by that
    of the first server that took the mail."""

    parts: tuple[bytes, ...]
    came: datetime.datetime | None
    dated: datetime.datetime | None


def read(data: bytes) -> Mail | None:
    """None for a mail without any part of ours. Raises ValueError for one that is too involved to be ours."""
    lowered = data.lower()
    if part.MEDIA_TYPE.encode() not in lowered:
        return None
    if (
        data.count(b"\n") > _MOST_LINES
        or lowered.count(b"boundary") > _MOST_BOUNDARIES
        or data.count(b"\n--") > _MOST_DASHED
    ):
        raise ValueError("too involved")
    try:
        mail = _PARSER.parsebytes(data)
        parts = tuple(_ours(mail))
    except (LookupError, RecursionError, TypeError, AttributeError) as error:
        raise ValueError("malformed") from error
    if not parts:
        return None
    stamps = mail.get_all("received", [])[:_MOST_RECEIVED]
    came = next((time for stamp in reversed(stamps) if (time := _stamped(str(stamp)))), None)
    return Mail(parts[:_MOST_PARTS], came, _time(str(mail.get("date", ""))))


def _ours(mail: Message) -> Iterator[bytes]:
    """Not those of mails inside this one: they were sent at another time, to somebody else."""
    waiting = [mail]
    while waiting:
        one = waiting.pop()
        if one.get_content_maintype() == "multipart" and one.is_multipart():
            waiting += [inner for inner in one.get_payload() if isinstance(inner, Message)]
        elif one.get_content_type() == part.MEDIA_TYPE:
            payload = one.get_payload(decode=True)
            if isinstance(payload, bytes) and b"bootwatch/part/" in payload:
                yield payload


def _stamped(received: str) -> datetime.datetime | None:
    """RFC 5321 §4.4: the time stands behind the last semicolon."""
    return _time(received.rpartition(";")[2])


def _time(text: str) -> datetime.datetime | None:
    try:
        time = email.utils.parsedate_to_datetime(text.strip())
        time = time if time.tzinfo else time.replace(tzinfo=datetime.UTC)
        return time.astimezone(datetime.UTC) if 1990 <= time.year <= 2200 else None
    except (ValueError, TypeError, IndexError, OverflowError):
        return None
