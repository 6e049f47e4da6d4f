"""A rehearsal as a technician reads it: what one loss would do, and what would help beforehand."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from bootwatch.judge.meanings.common import KEYS_OF_OWN, LOOK_AGAIN, MANUAL, SEALED
from bootwatch.model.gap import Gap
from bootwatch.tell import phrases
from bootwatch.tell.layout import wrapped
from bootwatch.tell.plain import plain
from bootwatch.tell.routes_words import joined, name_of
from bootwatch.tell.unread import unread

Document = dict[str, Any]

READS_ONLY = "This reads only: nothing on the machine is changed."
_NUMBER = 6
_INDENT = " " * _NUMBER
_MOST_SYSTEMS = 12
_EFFECTS = {
    "no longer starts": "{name} would no longer start",
    "no longer starts next": "Switched on, the machine would no longer come up in {name}",
    "only on request": "{name} would start only when somebody chooses it",
}
_HOW = {
    "by itself": "starts by itself",
    "on request": "starts only when somebody chooses it",
    "not at all": "does not start now",
    "not known": "whether it starts can't be told",
}
_HEADINGS = {"by itself": "starts", "on request": "chosen", "not at all": "not", "not known": "unknown"}
_CARE = (
    "A copy of a loader helps only where its system can be started from there, which the system's own manual "
    "knows; and it has to be renewed with each update of the loader.",
    KEYS_OF_OWN,
    SEALED,
    LOOK_AGAIN,
    MANUAL,
)


def rehearsal_report(document: Document, width: int = 80) -> str:
    """First that it only reads; each system's single points of failure, worst first, with what would remove
    them; every loss with what comes after it; whether anyone would hear. Ends with a newline."""
    parts = [
        _head(document, width),
        *_systems(document, width),
        _care(document, width),
        *_losses(document, width),
        _heard(document, width),
        _unknown(document, width),
    ]
    return "\n\n".join("\n".join(part) for part in parts if part) + "\n"


def _head(document: Document, width: int) -> list[str]:
    reading = phrases.reading(document["snapshot"])
    machine = plain(str(document["machine"]))
    said = f"{machine}: what would start if one thing were lost. Worked out from {reading}"
    lines = wrapped(READS_ONLY, width)
    lines += wrapped(f"{said}, {phrases.moment(str(document['time']))}.", width)
    lines += wrapped(f"As it is, what starts next is {_what(document['next_start'])}.", width)
    if document["once"]:
        once = (
            "What is asked for once only, at the very next start, is left out: this is about the usual one."
        )
        lines += wrapped(once, width)
    return lines


def _what(thing: Document) -> str:
    return plain(str(thing["what"]))


# single points of failure


def _systems(document: Document, width: int) -> Iterator[list[str]]:
    systems = document["systems"]
    if not systems:
        yield wrapped("No installed system was found, so there is none whose start could be lost.", width)
    for system in systems[:_MOST_SYSTEMS]:
        yield _system(system, document, width)
    if len(systems) > _MOST_SYSTEMS:
        yield wrapped(f"and {len(systems) - _MOST_SYSTEMS} more systems: see --json", width)


def _system(system: Document, document: Document, width: int) -> list[str]:
    name, points = name_of(system), system["single_points"]
    how = _HOW.get(system["how"], plain(str(system["how"]), 40))
    head = f"{name} {how}{_depth(system)}" if system["starts"] is not None else f"{name}: {how}"
    if not points:
        nothing = "" if not system["starts"] else ", and no single loss that was rehearsed would change that"
        return wrapped(f"{head}{nothing}.", width)
    losses = {loss["number"]: loss for loss in document["losses"]}
    lines = wrapped(f"{head}. What would change that:", width)
    for effect, sentence in _EFFECTS.items():
        hit = [losses[point["loss"]] for point in points if point["effect"] == effect]
        if hit:
            lines += ["", *wrapped(f"{sentence.format(name=name)}", width, "  ")]
            for loss in hit:
                lines += _loss(loss, width)
    return [*lines, "", *_remedies(system, width)]


def _depth(system: Document) -> str:
    """How far the one of its ways was followed that was followed farthest."""
    depths = {way["followed_to"] for way in system["through"]}
    return f" (followed to its {'kernel' if 'kernel' in depths else 'loader'})" if depths else ""


def _loss(loss: Document, width: int) -> list[str]:
    return wrapped(_what(loss), width, f"{loss['number']:>{_NUMBER - 2}}  ")


def _remedies(system: Document, width: int) -> list[str]:
    if not system["tried"]:
        return wrapped("What would remove these was not worked out.", width, "  ")
    if not system["remedies"]:
        return wrapped("Nothing that was tried would remove any of these.", width, "  ")
    lines = wrapped("What would remove it; each was rehearsed too", width, "  ")
    for remedy in system["remedies"]:
        what = _what(remedy)
        lines += wrapped(f"{what[:1].upper()}{what[1:]}.", width, "    - ")
        lines += wrapped(f"({_helps(remedy, name_of(system))})", width, _INDENT)
        for cost in remedy["costs"]:
            lines += wrapped(f"But then {_cost(cost)}.", width, _INDENT)
    return lines + wrapped(_left(system), width, "  ")


def _left(system: Document) -> str:
    """What all remedies together leave."""
    remain = [point["loss"] for point in system["remain"]]
    sure = {loss for remedy in system["remedies"] for loss in remedy["removes"]}
    elsewhere = (
        {loss for remedy in system["remedies"] for loss in remedy["if_elsewhere"]} - sure - set(remain)
    )
    parts = [_numbers(remain)] if remain else []
    if elsewhere:
        parts.append(f"{_numbers(elsewhere)} unless {name_of(system)} itself lies on another disk")
    if not parts:
        return "With all of it, none is left."
    return f"Even with all of it, what remains: {', and '.join(parts)}."


def _helps(remedy: Document, name: str) -> str:
    parts = [f"removes {_numbers(remedy['removes'])}"] if remedy["removes"] else []
    if remedy["if_elsewhere"]:
        disks = _numbers(remedy["if_elsewhere"])
        parts.append(f"helps with {disks} if {name} itself lies on another disk")
    eased: dict[str, list[int]] = {}
    for point in remedy["eases"]:
        eased.setdefault(point["effect"], []).append(point["loss"])
    for effect, numbers in eased.items():
        parts.append(f"eases {_numbers(numbers)}: {plain(effect, 40)}")
    return "; ".join(parts)


def _cost(cost: Document) -> str:
    """As the end of a sentence."""
    name = plain(str(cost["system"]), 60)
    if cost["effect"] == "no longer starts next":
        return f"the machine would no longer come up in {name} after {cost['loss']}"
    sentence = _EFFECTS.get(cost["effect"], "{name} would be worse off")
    return f"{sentence.format(name=name)} after {cost['loss']}"


def _numbers(numbers: Iterable[int]) -> str:
    """``1, 4-6``."""
    found = sorted(numbers)
    parts: list[list[int]] = []
    for number in found:
        if parts and number == parts[-1][-1] + 1:
            parts[-1].append(number)
        else:
            parts.append([number])
    return ", ".join(
        f"{part[0]}-{part[-1]}" if len(part) > 2 else ", ".join(map(str, part)) for part in parts
    )


def _care(document: Document, width: int) -> list[str]:
    if not any(system["remedies"] for system in document["systems"]):
        return []
    lines = ["Before any of that is done", ""]
    for sentence in _CARE:
        lines += wrapped(sentence, width, "  - ")
    return lines


# every loss


def _losses(document: Document, width: int) -> Iterator[list[str]]:
    groups: dict[str, list[Document]] = {}
    usual = _outcome(document)
    for loss in document["losses"]:
        groups.setdefault(_outcome(loss), []).append(loss)
    if groups:
        yield wrapped("What would start after each loss; those with the same outcome stand together", width)
    for outcome, losses in groups.items():
        if outcome != usual:
            yield _group(losses, document, width)
    harmless = groups.get(usual)
    if harmless:
        lines = [line for loss in harmless for line in _loss(loss, width)]
        yield [*lines, *wrapped("next and systems as now", width, _INDENT)]


def _outcome(thing: Document) -> str:
    """What people see of it: two losses of the same outcome need no telling apart."""
    systems = [(system["name"], system["how"], _way(system)) for system in thing["systems"]]
    return repr((_next(thing["next_start"]), systems))


def _next(following: Document) -> tuple[Any, ...]:
    return following["system"], following["what"], following["certain"]


def _way(system: Document) -> str:
    """The first way by which it starts."""
    return _what(system["through"][0]) if system["through"] else ""


def _group(losses: Sequence[Document], document: Document, width: int) -> list[str]:
    first = losses[0]
    lines = [line for loss in losses for line in _loss(loss, width)]
    following = first["next_start"]
    as_now = _next(following) == _next(document["next_start"])
    lines += wrapped("as now" if as_now else _what(following), width, f"{_INDENT}{'next':<10}")
    now = {system["name"]: (system["how"], _way(system)) for system in document["systems"]}
    for how, heading in _HEADINGS.items():
        systems = [system for system in first["systems"] if system["how"] == how]
        known = [one for one in systems if not _way(one) or now.get(one["name"]) == (how, _way(one))]
        said = [joined(name_of(one) for one in known)] if known else []
        said += [f"{name_of(one)}, through {_way(one)}" for one in systems if one not in known]
        for number, sentence in enumerate(said):
            lines += wrapped(sentence, width, f"{_INDENT}{heading if not number else '':<10}")
    return lines


# would anyone hear


def _heard(document: Document, width: int) -> list[str]:
    if document["home"] is None:
        said = "In which system bootwatch runs is not known, so whether anyone would hear can't be told."
        return ["Would anyone still hear of it?", *wrapped(said, width, "  ")]
    home = plain(str(document["home"]), 60)
    lines = ["Would anyone still hear of it?"]
    lines += wrapped(
        f"bootwatch runs in {home} and tells of a loss when that is started. {_now(document, home)}",
        width,
        "  ",
    )
    for verdict, sentence in _verdicts(document["heard"], home):
        numbers = [loss["number"] for loss in document["losses"] if loss["heard"] is verdict]
        lines += wrapped(f"{sentence}: {_numbers(numbers)}.", width, "  ") if numbers else []
    return lines


def _verdicts(now: bool | None, home: str) -> Iterator[tuple[bool | None, str]]:
    """Which losses are worth naming: those that change who would hear."""
    if now is not True:
        yield True, f"After these it would come up in {home}"
    if now is not False:
        yield False, f"After these it would not, and nobody hears until {home} is started by hand"
    if now is not None:
        yield None, "After these it can't be told"


def _now(document: Document, home: str) -> str:
    if document["heard"] is False:
        return (
            f"As it is, the machine does not come up in {home}: nobody is told until it is started by hand."
        )
    if document["heard"] is None:
        return f"Whether the machine comes up in {home} can't be told."
    if all(loss["heard"] for loss in document["losses"]):
        return f"After each of these losses the machine would still come up in {home}."
    return f"As it is, the machine comes up in {home}."


# what was left out


def _unknown(document: Document, width: int) -> list[str]:
    lines = [line for limit in document["limits"] for line in wrapped(plain(str(limit)), width)]
    gaps = unread([Gap.from_json(item) for item in document["gaps"]], width)
    return [*lines, *([""] if lines and gaps else []), *gaps]
