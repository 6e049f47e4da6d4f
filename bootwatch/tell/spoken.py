"""The spoken code: ten letters that an owner reads out over the phone, the last of them a check letter.

*Letters.* Eleven whose English names are hard to mishear, one from each family that a phone line runs
together: B (of B C D E G P T V Z), K (of A J K), M (of M N), F and X (S would be heard as either), Q (of
Q U), Y (of I Y); H, L, R and W resemble none of these. O, I, S and Z are missing besides because they
look like digits.

*Check.* Eleven is prime, and the letters count 0 to 10. The places have the weights 1 to 10; the sum of
weight times letter is a multiple of 11. One wrong letter at weight w changes the sum by w * d with 0 < w
< 11 and d not a multiple of 11; any two letters swapped change it by (v - w) * d with neither factor a
multiple of 11. A prime divides a product only if it divides a factor, so neither change is a multiple of
11: both are always noticed, wherever the two letters stand.

*Values.* Nine letters hold a number below 11 ** 9, put together digit by digit from the fields
(``_ROOM``). Half of these numbers are used: the others are for later versions, and said to be.

*Age.* A log-in line stands unchanged for days, so the code holds no age but the day of the look, modulo
``DAYS``. Whoever decodes it works out the age with the day of today.
"""

from __future__ import annotations

import datetime
import string
import unicodedata
from collections.abc import Iterable
from itertools import pairwise
from typing import Any

from bootwatch.model.change import Change, Drift, Finding
from bootwatch.model.level import Level
from bootwatch.model.spoken import NAMES, OTHER_LETTER, Following, Kit, Spoken, Standing
from bootwatch.problem import UsageProblem
from bootwatch.tell.plain import plain
from bootwatch.tell.routes_words import has_free_choice, is_open

ALPHABET = "BFHKLMQRWXY"
LENGTH = 10
DAYS = 180
_PRIME = len(ALPHABET)
_GROUPS = (0, 3, 6, LENGTH)
_LETTERS = (*string.ascii_uppercase, OTHER_LETTER)
_SYSTEMS = ("", *_LETTERS)
_FOLLOWING = (
    *((Following.SYSTEM, letter) for letter in _LETTERS),
    *((Following.LIKELY_SYSTEM, letter) for letter in _LETTERS),
    *((kind, "") for kind in (Following.PROGRAM, Following.SETUP, Following.NOTHING, Following.UNKNOWN)),
)
# How many values each field has room for: standing, system, what follows, name (0: none), kit, day (the last:
# unknown). They are part of the code and never change.
_ROOM = (7, 28, 58, 96, 6, DAYS + 1)
# A letter that the code doesn't use, and what it was most likely said to be.
_MEANT = dict.fromkeys("CDEGPTVZ", "B") | {"A": "K", "J": "K", "N": "M", "S": "F or X", "U": "Q", "I": "Y"}
_AGAIN = "Ask for it once more, letter by letter, with a word for each: Bravo, Foxtrot, Hotel ..."

Document = dict[str, Any]


def encode(said: Spoken) -> str:
    """The code, in groups for reading: "BFH KLM QRWX"."""
    fields = (
        list(Standing).index(said.standing),
        _SYSTEMS.index(said.system),
        _FOLLOWING.index((said.following, said.next_system)),
        NAMES.index(said.name) + 1 if said.name in NAMES else 0,
        list(Kit).index(said.kit),
        DAYS if said.day is None else said.day,
    )
    number = 0
    for field, room in zip(fields, _ROOM, strict=True):
        number = number * room + field
    digits = [number // _PRIME**place % _PRIME for place in reversed(range(LENGTH - 1))]
    # The last weight, 10, is -1 modulo 11: the check letter is what the others add up to.
    letters = "".join(ALPHABET[digit] for digit in (*digits, _sum(digits)))
    return " ".join(letters[begin:end] for begin, end in pairwise(_GROUPS))


def decode(code: str) -> Spoken:
    """What a code says: in capitals or not, blanks and hyphens as they come, or a word for each letter.

    Raises UsageProblem for a code that was misheard, and for one of a later version.
    """
    digits = [ALPHABET.index(letter) for letter in _letters(code)]
    if _sum(digits):
        raise UsageProblem("The code was misheard or mistyped: its letters don't fit together.", _AGAIN)
    number = 0
    for digit in digits[:-1]:
        number = number * _PRIME + digit
    fields: list[int] = []
    for room in reversed(_ROOM):
        number, field = divmod(number, room)
        fields.insert(0, field)
    standing, system, following, name, kit, day = fields
    if number or kit >= len(Kit) or name > len(NAMES):
        raise UsageProblem(
            "The code comes from a later version of bootwatch, or was misheard more than once.",
            f"{_AGAIN}\nIf it stays the same, decode it with the version of that machine.",
        )
    kind, letter = _FOLLOWING[following]
    return Spoken(
        list(Standing)[standing],
        _SYSTEMS[system],
        kind,
        letter,
        NAMES[name - 1] if name else "",
        None if day == DAYS else day,
        list(Kit)[kit],
    )


def _sum(digits: list[int]) -> int:
    return sum(weight * digit for weight, digit in enumerate(digits, 1)) % _PRIME


def _letters(code: str) -> str:
    words = code.upper().replace("-", " ").split()
    spelled = len(words) == LENGTH and all(len(word) != 2 for word in words)  # two letters are no word
    letters = "".join(word[0] for word in words) if spelled else "".join(words)
    for letter in letters:
        if letter not in ALPHABET:
            meant = f" Was it {_MEANT[letter]}?" if letter in _MEANT else ""
            raise UsageProblem(f'Codes have no "{plain(letter)}".{meant}', _AGAIN)
    if len(letters) != LENGTH:
        raise UsageProblem(f"A code has {LENGTH} letters, and this has {len(letters)}.", _AGAIN)
    return letters


# from what was found


def spoken(drift: Drift | None, routes: Document, *, compared: bool = True) -> str:
    """The code for what a look found.

    ``drift`` is None where nothing was compared: without a baseline, or, with ``compared`` False, in spite
    of one. ``routes`` as they are shown.
    """
    standing = Standing.NO_BASELINE if compared else Standing.UNTOLD
    name = system = ""
    if drift:
        standing, gravest = _standing(drift)
        name = _name(gravest) if gravest else ""
        system = _letter(gravest.system) if gravest else ""
    following, next_system = _following(routes["next_start"])
    kit = Kit(routes.get("kit", Kit.NONE))
    return encode(Spoken(standing, system, following, next_system, name, _day(str(routes["time"])), kit))


def _standing(drift: Drift) -> tuple[Standing, Change | Finding | None]:
    """The worst level and what has it. What is merely unseen is no known change, as for the exit status."""
    items: Iterable[Change | Finding] = (*drift.changes, *drift.findings)
    loud = sorted((one for one in items if one.level is not Level.ROUTINE), key=lambda one: one.level.rank)
    known = [one for one in loud if _name(one) != "unseen"]
    if known:
        return Standing(known[0].level.value), known[0]
    if loud or any(gap.name == "*" for gap in drift.gaps):
        return Standing.UNTOLD, loud[0] if loud else None
    return Standing.QUIET, None


def _name(item: Change | Finding) -> str:
    return item.change if isinstance(item, Change) else item.finding


def _following(following: Document) -> tuple[Following, str]:
    if following["by"] == "nothing":
        return Following.NOTHING if following["certain"] else Following.UNKNOWN, ""
    if following["by"] == "setup":
        return Following.SETUP, ""
    others = {one["system"] for one in following["candidates"]}
    if is_open(following) or (has_free_choice(following) and len(others) > 1):
        return Following.UNKNOWN, ""
    if not following["system"]:
        return Following.PROGRAM, ""
    is_sure = following["certain"] or others == {following["system"]}
    return Following.SYSTEM if is_sure else Following.LIKELY_SYSTEM, _letter(following["system"])


def _letter(name: str | None) -> str:
    first = unicodedata.normalize("NFKD", name)[:1].upper() if name else ""
    return first if first in _SYSTEMS else OTHER_LETTER


def _day(time: str) -> int | None:
    try:
        moment = datetime.datetime.fromisoformat(time)
    except ValueError:
        return None
    return moment.toordinal() % DAYS
