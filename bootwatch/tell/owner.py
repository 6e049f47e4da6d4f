"""A message in words for the owner of the machine, who sits in front of it and knows nothing of starting.

What to do comes first, then why, then who knows of it. No word of the trade stands here, and no identifier.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

from bootwatch.model.alert import Kind
from bootwatch.model.message import Message
from bootwatch.model.told import Told
from bootwatch.tell.layout import wrapped
from bootwatch.tell.owner_answer import Answer, Why, verdict
from bootwatch.tell.owner_words import KEPT, Words, kept
from bootwatch.tell.plain import plain

WIDTH = 74
TECHNICIAN = "technician"

_UNNAMED = "this machine"
_NAME = 60
_TITLE = 120
_MOST_NAMED = 8


@dataclass(frozen=True)
class OwnerText:
    """``title`` is one line for a subject or a notification; ``body`` has lines of at most 74 columns, and
    ends with a newline."""

    title: str
    body: str
    answer: Answer


def owner_text(message: Message, told: Sequence[Told] = (), zone: datetime.tzinfo | None = None) -> OwnerText:
    """``told``: who got messages of the same alert so far. ``zone`` is the reader's, None for the zone of the
    machine on which this runs."""
    writer = _Writer(message, tuple(told), zone)
    title = plain(writer.title().replace(KEPT, " "), _TITLE)
    return OwnerText(title, writer.body().replace(KEPT, " "), writer.verdict.answer)


class _Writer:
    def __init__(self, message: Message, told: tuple[Told, ...], zone: datetime.tzinfo | None) -> None:
        self.message, self.told, self.zone = message, told, zone
        self.care, self.verdict = message.care, verdict(message)
        self.words = Words(message.care.language)
        self.who = plain(self.care.name, _NAME).strip()
        self.phone = kept(self.care.phone)
        self.key = kept(self.care.menu_key)

    # the title

    def title(self) -> str:
        is_less = self._is_over_in_part and self.verdict.answer is Answer.NOTHING
        is_still = self.message.kind is Kind.REMINDER or (self._is_over_in_part and not is_less)
        title = self._title()
        return self.words.say("Still: {title}", title=title) if is_still else title

    def _title(self) -> str:
        answer, say = self.verdict.answer, self.words.say
        if answer is Answer.NOTHING:
            return self._title_of_nothing()
        if answer is Answer.GET_BACK:
            return say("You may switch off, but {following} will start next", following=self._following)
        who = self.who or self.phone
        if answer is Answer.STICK:
            return (
                say("Plug in the stick and call {who}", who=who)
                if who
                else say("Plug in the stick, get help")
            )
        if who:
            return say("Leave the computer switched on and call {who}", who=who)
        return say("Leave the computer switched on and get help")

    def _title_of_nothing(self) -> str:
        kind, say = self.message.kind, self.words.say
        if kind is Kind.ALL_CLEAR and self.message.still_open is None:
            is_well = self.verdict.why is Why.AS_BEFORE
            return say("All is well with the computer again") if is_well else say("It is over")
        if kind is Kind.SIGN_OF_LIFE:
            return say("A sign of life from the computer")
        if self._is_over_in_part:
            return say("There is nothing for you to do any more")
        return say("There is nothing for you to do")

    @property
    def _is_over_in_part(self) -> bool:
        return self.message.kind is Kind.ALL_CLEAR and self.message.still_open is not None

    # the body

    def body(self) -> str:
        parts = [
            self._opening(),
            *self._what_to_do(),
            self._why(),
            self._files(),
            self._who_knows(),
            self._code(),
            self._which_computer(),
        ]
        return "\n\n".join("\n".join(wrapped(part, WIDTH)) for part in parts if part) + "\n"

    def _opening(self) -> str:
        kind, say = self.message.kind, self.words.say
        if self._is_over_in_part:
            return say("Part of what you were told is over, but not all of it.")
        if kind is Kind.ALL_CLEAR:
            return say("What you were told about how this computer starts is over.")
        if kind is Kind.REMINDER:
            return say("This is a reminder: what you were told earlier is still so.")
        if kind is Kind.SIGN_OF_LIFE:
            return say("This message only shows that the computer still reports.")
        return ""

    def _what_to_do(self) -> list[str]:
        todo = {
            Answer.NOTHING: self._nothing_to_do,
            Answer.CALL: self._leave_it_on,
            Answer.GET_BACK: self._get_back,
            Answer.STICK: self._plug_in,
        }
        return todo[self.verdict.answer]()

    def _nothing_to_do(self) -> list[str]:
        if self.verdict.all_start:
            return [self.words.say("There is nothing for you to do: you can use the computer as always.")]
        return [self.words.say("There is nothing for you to do.")]

    def _leave_it_on(self) -> list[str]:
        say = self.words.say
        if self._whom:
            first = say("Please leave the computer switched on, and call {whom}.", whom=self._whom)
        else:
            first = say(
                "Please leave the computer switched on, and ask somebody who knows about computers to look "
                "at it."
            )
        if self.who:
            then = say(
                "Do not switch it off and do not restart it until {who} says that you may.", who=self.who
            )
        else:
            then = say("Do not switch it off and do not restart it until somebody has looked at it.")
        laptop = say("If it is a laptop, leave it open and keep it plugged in to the mains.")
        return [f"{first} {then} {laptop}"]

    def _plug_in(self) -> list[str]:
        stick = plain(self.care.stick, _NAME).strip()
        if stick:
            first = self.words.say(
                "Please plug in the USB stick that is meant for this: {stick}.", stick=stick
            )
        else:
            name = self._called(self.verdict.plugged_in)
            first = self.words.say("Please leave the USB stick with {system} plugged in.", system=name)
        return [first, *self._leave_it_on()]

    def _get_back(self) -> list[str]:
        say, usual = self.words.say, self._called(self.verdict.usual)
        said = [
            say(
                "You may switch the computer off. But when you switch it on again, {following} will start "
                "instead of {usual}.",
                following=self._following,
                usual=usual,
            ),
            say(
                "To get back to {usual}: right after switching the computer on, press the key {key} again "
                'and again until a list appears. In that list choose the line "{label}" with the arrow keys, '
                "and press Enter.",
                usual=usual,
                key=self.key,
                label=kept(self.verdict.label),
            ),
        ]
        if self._whom:
            said.append(
                say("If that does not work, leave the computer on, and call {whom}.", whom=self._whom)
            )
        return said

    # why

    def _why(self) -> str:
        say, found = self.words.say, self.verdict
        said = {
            Why.LOST: self._lost,
            Why.DOUBTFUL: self._doubtful,
            Why.ONLY_CHOSEN: self._only_chosen,
            Why.LESS: self._less,
            Why.AS_BEFORE: self._as_before,
            Why.INSTEAD: self._instead,
        }
        if found.why is Why.NONE_STARTS:
            return say("If the computer were switched off now, nothing would start by itself any more.")
        if found.why is Why.NONE_MAY_START:
            return say("If the computer were switched off now, it may be that nothing would start any more.")
        if found.why is Why.UNKNOWN:
            return say("If the computer were switched off now, it is not certain what would start next time.")
        return said[found.why]() if found.why in said else ""

    def _lost(self) -> str:
        return self._of_systems(
            "If the computer were switched off now, {systems} would not start any more.",
            "If the computer were switched off now, {systems} would not start any more.",
        )

    def _doubtful(self) -> str:
        return self._of_systems(
            "If the computer were switched off now, it is not certain that {systems} would start again.",
            "If the computer were switched off now, it is not certain that {systems} would start again.",
        )

    def _only_chosen(self) -> str:
        return self._of_systems(
            "By itself, {systems} does not start any more, only if somebody chooses it.",
            "By themselves, {systems} do not start any more, only if somebody chooses them.",
        )

    def _less(self) -> str:
        say = self.words.say
        if self.who:
            look = say("{who} should soon have a look at this computer.", who=self.who)
        else:
            look = say("Somebody who knows about computers should soon have a look at this one.")
        return f"{look} {self._as_before()}"

    def _as_before(self) -> str:
        return self._of_systems("As before, {systems} starts.", "As before, {systems} start.")

    def _of_systems(self, one: str, several: str) -> str:
        names = list(dict.fromkeys(self._called(name) for name in self.verdict.systems[:_MOST_NAMED]))
        listed = self.words.joined(names or [self._called("")])
        return self.words.say_many(one, several, max(len(names), 1), systems=listed)

    def _instead(self) -> str:
        if self.verdict.answer is Answer.GET_BACK:
            return ""  # said already
        return self.words.say(
            "If the computer were switched off now, {following} would start next time, and not {usual}.",
            following=self._following,
            usual=self._called(self.verdict.usual),
        )

    def _files(self) -> str:
        return self.words.say("Your files are not touched.") if self.message.files_untouched is True else ""

    # who knows

    def _who_knows(self) -> str:
        if self.message.kind is Kind.SIGN_OF_LIFE or self._is_over:
            return ""
        last = self._last_told
        if last:
            return self._known_since(self.words.moment(last.astimezone(self.zone)))
        return self._not_told_yet()

    def _known_since(self, when: str) -> str:
        if self.who:
            return self.words.say("{who} knows of it: {who} was told {when}.", who=self.who, when=when)
        return self.words.say("Whoever looks after this computer was told {when}.", when=when)

    def _not_told_yet(self) -> str:
        say = self.words.say
        is_urgent = self.verdict.answer in (Answer.CALL, Answer.STICK)
        if self.who and not is_urgent:
            return say(
                "{who} should hear of it from this computer. If {who} is silent for a week, please call "
                "{whom}.",
                who=self.who,
                whom=self._whom,
            )
        if self.who:
            return say("Whether {who} knows of it already is not certain.", who=self.who)
        if is_urgent:
            return ""
        if self.phone:
            return say("If you have questions, please call {whom}.", whom=self._whom)
        return say("Please show this message to whoever looks after this computer.")

    @property
    def _is_over(self) -> bool:
        return self.message.kind is Kind.ALL_CLEAR and self.message.still_open is None

    @property
    def _last_told(self) -> datetime.datetime | None:
        """When somebody who looks after the machine was told of this last; what is news can't have been told
        before it was found."""
        times = [_moment(one.time) for one in self.told if one.reader == TECHNICIAN]
        last = max((one for one in times if one), default=None)
        found = _moment(self.message.time)
        if last and self.message.kind is Kind.NEWS and (found is None or last < found):
            return None
        return last

    def _code(self) -> str:
        code = kept(self.message.spoken)
        if not code or self.verdict.why in (Why.AS_BEFORE, Why.NOT_OPEN):
            return ""
        say = self.words.say
        if self.verdict.answer in (Answer.CALL, Answer.STICK) and self._whom:
            return say("On the phone, please read out these letters: {code}", code=code)
        return say("If you are asked for letters, read out these: {code}", code=code)

    def _which_computer(self) -> str:
        name = plain(self.message.machine, _NAME).strip()
        if name in ("", _UNNAMED):
            return ""
        return self.words.say("This is about the computer called {computer}.", computer=name)

    # names

    @property
    def _whom(self) -> str:
        """Whom to call, with the number; "" where nobody is known."""
        return ", ".join(filter(None, (self.who, self.phone)))

    @property
    def _following(self) -> str:
        return self._called(self.verdict.following)

    def _called(self, name: str) -> str:
        return self.words.system(plain(self.care.name_of(name), _NAME).strip())


def _moment(time: str) -> datetime.datetime | None:
    """None for what is no time, or too far off to be told in another zone."""
    try:
        found = datetime.datetime.fromisoformat(time)
    except ValueError:
        return None
    return found if found.tzinfo and 1 < found.year < datetime.MAXYEAR else None
