"""The owner's language: English as it stands in the code, others from the catalogs that are shipped.

The arguments of ``say`` and ``say_many`` are what catalogs translate; tests find them there.
"""

from __future__ import annotations

import datetime
import gettext
import re
from collections.abc import Iterable
from pathlib import Path

from bootwatch.model.care import ENGLISH
from bootwatch.tell.plain import plain

DOMAIN = "bootwatch"
CATALOGS = Path(__file__).parent / "catalogs"

# Stands for a space at which no line is broken: a number to call stays in one piece.
KEPT = "␣"
_NAME = 60
# A name that bootwatch made of an identity or a folder tells an owner nothing.
_IDENTIFIER = re.compile(r"\\|\b(gpt|mbr|fat):|\bBoot[0-9A-F]{4}\b|[0-9A-Fa-f]{8}")


class Words:
    """Sentences in one language. What is put into them is made harmless; braces in it stay what they are."""

    def __init__(self, language: str) -> None:
        found = [language] if language != ENGLISH and language.isalpha() else []
        self._catalog = gettext.translation(DOMAIN, CATALOGS, languages=found, fallback=True)

    def say(self, sentence: str, **values: str) -> str:
        return self._catalog.gettext(sentence).format(**_harmless(values))

    def say_many(self, one: str, several: str, count: int, **values: str) -> str:
        return self._catalog.ngettext(one, several, count).format(**_harmless(values))

    def joined(self, names: Iterable[str]) -> str:
        """As in a sentence: "a, b and c"."""
        *others, last = names
        return self.say("{names} and {last}", names=", ".join(others), last=last) if others else last

    def system(self, name: str) -> str:
        """A system's name, if it is one for people."""
        return self.say("one of the systems") if _IDENTIFIER.search(name) or not name.strip() else name

    def moment(self, time: datetime.datetime) -> str:
        """ "on Wednesday, 25 November, at 7:12", with the zone where it is the world's."""
        said = self.say(
            "on {weekday}, {day} {month}, at {hour}:{minute}",
            weekday=self._weekdays()[time.weekday()],
            day=str(time.day),
            month=self._months()[time.month - 1],
            hour=str(time.hour),
            minute=f"{time.minute:02}",
        )
        return self.say("{moment} (world time)", moment=said) if time.tzname() == "UTC" else said

    def _weekdays(self) -> tuple[str, ...]:
        say = self.say
        return (
            *(say("Monday"), say("Tuesday"), say("Wednesday"), say("Thursday")),
            *(say("Friday"), say("Saturday"), say("Sunday")),
        )

    def _months(self) -> tuple[str, ...]:
        say = self.say
        return (
            *(say("January"), say("February"), say("March"), say("April"), say("May"), say("June")),
            *(say("July"), say("August"), say("September"), say("October"), say("November")),
            say("December"),
        )


def kept(text: str) -> str:
    """``text`` made harmless, to stay in one piece until a layout puts spaces in again."""
    return plain(text, _NAME).strip().replace(" ", KEPT)


def _harmless(values: dict[str, str]) -> dict[str, str]:
    return {name: plain(value, 4 * _NAME) for name, value in values.items()}
