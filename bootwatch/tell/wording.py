"""A message in words for a technician: consequence first, identifiers last."""

from __future__ import annotations

from collections.abc import Iterable

from bootwatch.model.alert import Kind
from bootwatch.model.change import Change, Finding
from bootwatch.model.message import Message
from bootwatch.tell import phrases
from bootwatch.tell.accepted import accepted_sentence
from bootwatch.tell.footing import footing
from bootwatch.tell.lead import lead, mark
from bootwatch.tell.plain import plain
from bootwatch.tell.prospect import Prospect
from bootwatch.tell.subject import subject
from bootwatch.tell.text import Block, Bullets, Item, Paragraph, Section, Text, Weight
from bootwatch.tell.text_lines import laid_out
from bootwatch.tell.times import Time
from bootwatch.tell.topic import MOST, Topic
from bootwatch.tell.values import before_and_after

__all__ = ["body", "subject", "text"]

_MOST_STARTS = 5
_MOMENTS = {
    "boot": "after a start",
    "asked": "when a person asked",
    "watch": "while the system was running",
    "shutdown": "at a shutdown",
    "resume": "after hibernation",
}


def body(message: Message) -> str:
    """The whole message as plain text; lines of at most 74 columns, ending with a newline."""
    return laid_out(text(message))


def text(message: Message) -> Text:
    """The whole message in its pieces."""
    topic, prospect = Topic.of(message), Prospect.of(message.routes)
    sections = (
        _next_start(prospect),
        *_told(message, topic),
        _when(message, topic),
        _todo(topic),
        _cautions(topic),
        _also_wrong(topic),
        _earlier(message, topic),
        _starts(message),
        _gaps(message),
        _identifiers(topic),
        _accepted(message),
        *footing(message),
    )
    return Text(
        topic.level,
        mark(message, topic),
        lead(message, topic, prospect),
        tuple(one for one in sections if one.blocks),
    )


def _next_start(prospect: Prospect) -> Section:
    """What starts next, and which systems start."""
    if not prospect.following and not prospect.systems:
        return Section("", ())
    following = prospect.following or "not known"
    return Section(
        "The next switch-on", (Paragraph(f"Starts next: {following}."), *_bullets(prospect.systems))
    )


# one by one


def _told(message: Message, topic: Topic) -> list[Section]:
    """What happened and what is wrong by itself."""
    parts = [_happened(message, topic), _wrong(message, topic)]
    return parts[::-1] if topic.is_finding_first else parts


def _happened(message: Message, topic: Topic) -> Section:
    items = tuple(_change(number, one) for number, one in enumerate(topic.told, 1) if isinstance(one, Change))
    heading = "What has happened" if message.kind is Kind.REMINDER else "What happened"
    return Section(heading, (*items, *_more(len(_all_changes(message, topic)) - len(items), "more change")))


def _all_changes(message: Message, topic: Topic) -> tuple[Change, ...]:
    """What is routine and told all the same is counted too."""
    return message.new_changes if message.kind is Kind.NEWS else topic.changes


def _change(number: int, change: Change) -> Item:
    before, after = before_and_after(change)
    rows = (("before", before), ("after", after))
    return Item(number, phrases.headline(change), rows, phrases.consequence(change))


def _wrong(message: Message, topic: Topic) -> Section:
    items = tuple(
        Item(number, phrases.headline(one), rest=phrases.consequence(one))
        for number, one in enumerate(topic.told, 1)
        if isinstance(one, Finding)
    )
    heading = "Wrong by itself" if message.kind is Kind.REMINDER else "Wrong by itself, and new"
    return Section(heading, (*items, *_more(len(topic.findings) - len(items), "more finding")))


def _more(left: int, noun: str) -> tuple[Block, ...]:
    return (Paragraph(f"and {phrases.counted(left, noun)}: see bootwatch drift"),) if left > 0 else ()


# when


def _when(message: Message, topic: Topic) -> Section:
    moment = _MOMENTS.get(message.moment, plain(message.moment, 40))
    taken = f"Snapshot {message.snapshot} was taken {moment}, {phrases.moment(message.time)}."
    reason = f' ("{plain(message.baseline_reason)}")' if message.baseline_reason else ""
    baseline = f"It is compared with the baseline of {phrases.moment(message.baseline_saved)}{reason}."
    heading = "Since when" if topic.changes else "Seen when"
    return Section(heading, (*_times(topic), Paragraph(f"{taken} {baseline}")))


def _times(topic: Topic) -> Iterable[Block]:
    """Each time in which something happened, with the numbers of what did where there are several."""
    found: dict[Time, list[int]] = {}
    for number, item in enumerate(topic.told, 1):
        if isinstance(item, Change):
            found.setdefault(Time.of(item), []).append(number)
    for time, numbers in found.items():
        which = f"For {', '.join(map(str, numbers))}: {time.since[:1].lower()}{time.since[1:]}"
        said, known = time.pieces(which if len(found) > 1 else "")
        yield from (Paragraph(said), *_bullets(known))


def _starts(message: Message) -> Section:
    """The last starts, in a sign of life."""
    starts = message.state.get("starts") if message.kind is Kind.SIGN_OF_LIFE else None
    starts = starts if isinstance(starts, list) else []
    times = [phrases.moment(time) for time in starts[:_MOST_STARTS] if isinstance(time, str)]
    return Section("Last starts that were seen", _bullets(times))


# what to do


def _todo(topic: Topic) -> Section:
    sentences = [
        f"For {', '.join(map(str, places))}: {sentence}" for sentence, places in phrases.advice(topic.told)
    ]
    return Section("What to do while the machine still runs", _bullets(sentences, most=None), Weight.TODO)


def _cautions(topic: Topic) -> Section:
    return Section("Take care", _bullets(phrases.cautions(topic.told)))


# what is only named


def _also_wrong(topic: Topic) -> Section:
    sentences = [f"{phrases.headline(one)} {phrases.consequence(one)}".rstrip() for one in topic.also_wrong]
    return Section("Also wrong, whether or not it changed", _bullets(sentences))


def _earlier(message: Message, topic: Topic) -> Section:
    heading = "Still open from earlier messages" if message.kind is Kind.NEWS else "Still open"
    return Section(heading, _bullets([phrases.headline(change) for change in topic.earlier]))


def _gaps(message: Message) -> Section:
    heading = "Could not be read, so nothing is said about it"
    return Section(heading, _bullets([phrases.gap(gap) for gap in message.drift.gaps]))


def _identifiers(topic: Topic) -> Section:
    earlier = () if topic.told else topic.earlier[:MOST]
    shown: list[Change | Finding] = [*topic.told, *earlier, *topic.also_wrong[:MOST]]
    return Section(
        "Identifiers", _bullets([phrases.identifiers(one) for one in shown], most=None), Weight.ASIDE
    )


def _accepted(message: Message) -> Section:
    sentence = accepted_sentence(message.drift.changes)
    return Section("", (Paragraph(sentence),) if sentence else ())


def _bullets(sentences: Iterable[str], most: int | None = MOST) -> tuple[Block, ...]:
    known = tuple(sentences)
    left = len(known) - most if most else 0
    more = (f"and {left} more: see bootwatch drift",) if left > 0 else ()
    return (Bullets(known[:most] + more),) if known else ()
