"""Changes that a rule expects: counted, for nobody has to read them one by one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from bootwatch.model.change import Change
from bootwatch.tell import phrases
from bootwatch.tell.layout import wrapped
from bootwatch.tell.plain import plain
from bootwatch.tell.routes_words import joined
from bootwatch.tell.times import times

_MOST_SYSTEMS = 12
_MOST_RULES = 3
_NAME = 60
_INDENT = " " * 12
# What a change is about, by the beginning of its name.
_NOUNS = {
    "loader": ("loader", "loaders"),
    "file": ("file", "files"),
    "entry": ("entry", "entries"),
    "volume": ("boot volume", "boot volumes"),
    "partition": ("partition", "partitions"),
}


def unaccepted(changes: Iterable[Change]) -> tuple[Change, ...]:
    """The changes that no rule expects."""
    return tuple(change for change in changes if not change.accepted)


def accepted_lines(changes: Iterable[Change], width: int, *, with_time: bool) -> list[str]:
    """A piece for each system: how many of what changed, and by which rule; nothing where none is accepted.

    ``with_time``: say when, too; what is known of that time is not said.
    """
    groups: dict[str | None, list[Change]] = {}
    for change in changes:
        if change.accepted:
            groups.setdefault(change.system, []).append(change)
    if not groups:
        return []
    lines = wrapped("Expected, and accepted by rule: told to nobody", width)
    shown = sorted(groups.items(), key=lambda group: group[0] is None)[:_MOST_SYSTEMS]
    for system, held in shown:
        lines += ["", *_system(system, held, width, with_time)]
    left = len(groups) - len(shown)
    lines += ["", *wrapped(f"and {phrases.counted(left, 'more system')}", width, "  ")] if left else []
    lines += ["", *wrapped("Each of them by its name: bootwatch drift --json", width, "  ")]
    return lines + wrapped("To call them good: bootwatch baseline adopt", width, "  ")


def _system(system: str | None, changes: list[Change], width: int, with_time: bool) -> list[str]:
    whose = f" of {plain(system, _NAME)}" if system else ""
    lines = wrapped(f"{_counted(changes)}{whose}", width, "  routine   ")
    rules = dict.fromkeys(change.accepted if with_time else _short_rule(change) for change in changes)
    for rule in list(rules)[:_MOST_RULES]:
        lines += wrapped(plain(rule, 1000), width, _INDENT)
    return lines + (wrapped(_when(changes), width, _INDENT) if with_time else [])


def _short_rule(change: Change) -> str:
    """The rule without what is said already where the time is told."""
    rule = change.accepted
    for one in change.evidence:
        rule = rule.replace(one.sentence, "") if one.sentence else rule
    return rule.strip() or change.accepted


def _when(changes: list[Change]) -> str:
    """When all of them happened; of several times the first beginning and the last end."""
    found = times(changes)
    if len(found) == 1:
        return found[0].since
    begins, ends = zip(*(change.between for change in changes), strict=True)
    if None in begins or None in ends:
        return f"It happened at {len(found)} different times."
    span = f"between snapshot {min(begins)} and snapshot {max(ends)}"
    return f"It happened at {len(found)} different times {span}."


def _counted(changes: Iterable[Change]) -> str:
    """``1 loader, 11 files and the boot order``; two changes of one thing count once."""
    things = {(change.change.partition("-")[0], change.where) for change in changes}
    counts = Counter(kind for kind, _ in things)
    return joined(_noun(kind, counts[kind]) for kind in sorted(counts, key=_place))


def _noun(kind: str, count: int) -> str:
    if kind == "order":
        return "the boot order"
    one, many = _NOUNS.get(kind, ("other thing", "other things"))
    return f"{count} {one if count == 1 else many}"


def _place(kind: str) -> int:
    return list(_NOUNS).index(kind) if kind in _NOUNS else len(_NOUNS)


def accepted_sentence(changes: Iterable[Change]) -> str:
    """All of them in one sentence, for a message; "" where there are none."""
    count = sum(1 for change in changes if change.accepted)
    if not count:
        return ""
    verb = "is" if count == 1 else "are"
    return f"Besides, {phrases.counted(count, 'change')} {verb} accepted by rule, as expected."
