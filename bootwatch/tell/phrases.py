"""Small phrases that report and messages have in common."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable

from bootwatch.judge.meanings import MEANINGS, fill
from bootwatch.model.change import Change, Custody, Drift, Finding
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.level import Level, worst
from bootwatch.tell.plain import plain

_DOES = {
    Level.STRANDED: ("keeps a system from starting", "keep a system from starting"),
    Level.DIVERTED: ("makes another system start", "make another system start"),
    Level.WEAKENED: ("weakens how this machine starts", "weaken how this machine starts"),
    Level.CHANGED: ("is worth knowing", "are worth knowing"),
}
# From this level on a finding is said to do what its level says.
_GRAVE = Level.DIVERTED
_CUSTODY = {
    Custody.ELSEWHERE: ", while another system or the firmware had the machine",
    Custody.HERE: ", while this system was running",
    Custody.UNKNOWN: "; who had the machine then is not known",
}
_REASONS = {
    Reason.ABSENT: "it isn't there on this machine",
    Reason.DENIED: "permission was denied",
    Reason.DAMAGED: "it is damaged",
    Reason.UNREADABLE: "reading it failed",
    Reason.LIMIT: "it is more than what is read",
    Reason.NOT_RECORDED: "it was not recorded then",
}
# Where the name without its hyphens is no words that people use.
_SHORT = {
    "secure-boot-switched": "Secure Boot switched",
    "volume-not-esp": "volume not ESP",
    "unheard": "does not start by itself",
    "unseen": "could not be read",
}
_WHAT = 160
_SENTENCE_END = re.compile(r"(?<=\.) (?=[A-Z])")


NO_BASELINE = "there is no baseline yet to compare it with"


def one_line(drift: Drift, compared: str = "from the baseline") -> str:
    """The drift in one line without a full stop: "2 of 5 changes weaken how this machine starts".

    What is routine is only counted where nothing else has changed. ``compared``: with what, as a phrase.
    """
    findings = _findings(drift.findings)
    parts = [_changes(drift.changes, compared, alone=not findings), findings]
    found = worst(finding.level for finding in drift.findings)
    if found and found.at_least(Level.WEAKENED) and found.rank < (drift.level or Level.ROUTINE).rank:
        parts.reverse()
    return _joined([*parts, _unread(drift)])


def besides_changes(drift: Drift) -> str:
    """The same without what changed: "1 finding; 2 parts could not be read"; "" for nothing."""
    return _joined([_findings(drift.findings), _unread(drift)])


def unwatched(drift: Drift) -> str:
    """How much nobody watched: "61 starts in 20 days went unwatched"; "" where nothing is known of that."""
    found = next((finding for finding in drift.findings if finding.finding == "starts-unwatched"), None)
    return f"{plain(found.what, _WHAT)} went unwatched" if found else ""


def first_seen(drift: Drift, number: int) -> str:
    """What a snapshot was the first to show of what matters, by the changes' names; "" for nothing."""
    new = [change for change in drift.changes if change.between[1] == number]
    return short_names(change for change in new if change.level is not Level.ROUTINE)


def short_names(items: Iterable[Change | Finding]) -> str:
    """The first few names, each once: "entry missing, loader missing and 2 more"."""
    names = list(dict.fromkeys(map(_short_name, items)))
    return ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")


def _short_name(item: Change | Finding) -> str:
    name = item.change if isinstance(item, Change) else item.finding
    return _SHORT.get(name) or plain(name, 40).replace("-", " ")


def _unread(drift: Drift) -> str:
    return f"{counted(len(drift.gaps), 'part')} could not be read" if drift.gaps else ""


def _joined(parts: Iterable[str]) -> str:
    return "; ".join(part for part in parts if part)


def _changes(changes: tuple[Change, ...], compared: str, *, alone: bool) -> str:
    """``alone``: nothing is wrong by itself, so that there is room for what is routine."""
    loud: list[Level] = [change.level for change in changes if change.level is not Level.ROUTINE]
    level = worst(loud)
    if level is None:
        routine = f"; {counted(len(changes), 'routine change')}" if alone else ""
        return f"no change that matters{routine}" if changes else f"no change {compared}"
    those = loud.count(level)
    verb = _DOES[level][0 if those == 1 else 1]
    if those == len(loud):
        return f"{counted(those, 'change')} {verb}"
    return f"{those} of {len(loud)} changes {verb}"


def _findings(findings: tuple[Finding, ...]) -> str:
    """A grave finding with what it does; the others counted, "" for none."""
    loud: list[Level] = [finding.level for finding in findings if finding.level is not Level.ROUTINE]
    level = worst(loud)
    if level is None:
        return ""
    if not level.at_least(_GRAVE):
        return counted(len(loud), "finding")
    those = loud.count(level)
    more = f" of {len(loud)}" if those < len(loud) else ""
    noun = "finding" if len(loud) == 1 else "findings"
    return f"{those}{more} {noun} {_DOES[level][0 if those == 1 else 1]}"


def counted(number: int, noun: str) -> str:
    """``3 changes``, ``1 change``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def headline(item: Change | Finding) -> str:
    """What happened to what, in one sentence."""
    what = plain(item.what, _WHAT)
    meaning = MEANINGS.get(item.change if isinstance(item, Change) else item.finding)
    sentence = meaning.headline if meaning else "{what}: " + plain(item.id.partition(":")[0], 40)
    return fill(sentence, what, item.system and plain(item.system, _WHAT))


def consequence(item: Change | Finding) -> str:
    """What it means for starting, as far as that was worked out; "" for a name that nobody knows."""
    if isinstance(item, Change) and item.consequence:
        return plain(item.consequence, 1000)
    meaning = MEANINGS.get(item.change if isinstance(item, Change) else item.finding)
    return _filled(meaning.consequence, item) if meaning else ""


def advice(items: Iterable[Change | Finding]) -> list[tuple[str, list[int]]]:
    """What to do, each piece once, with the places in ``items`` (from 1) that it is about."""
    found: dict[str, list[int]] = {}
    for place, item in enumerate(items, 1):
        sentence = _part(item, "todo")
        if sentence:
            found.setdefault(sentence, []).append(place)
    return list(found.items())


def cautions(items: Iterable[Change | Finding]) -> list[str]:
    """What following the advice can set off, each sentence once."""
    sentences = (one for item in items for one in _SENTENCE_END.split(_part(item, "caution")) if one)
    return list(dict.fromkeys(sentences))


def _part(item: Change | Finding, part: str) -> str:
    meaning = MEANINGS.get(item.change if isinstance(item, Change) else item.finding)
    return _filled(getattr(meaning, part), item) if meaning else ""


def _filled(sentence: str, item: Change | Finding) -> str:
    return fill(sentence, plain(item.what, _WHAT), item.system and plain(item.system, _WHAT))


def since(change: Change) -> str:
    """Between which snapshots it happened, and who had the machine: one sentence."""
    return f"It happened {when(change)}{_CUSTODY[change.custody]}."


def when(change: Change) -> str:
    """Between which snapshots it happened: "between snapshot 4 and snapshot 5"."""
    last_without, first_with = change.between
    if last_without is not None and first_with is not None:
        return f"between snapshot {last_without} and snapshot {first_with}"
    if first_with is not None:
        return f"before snapshot {first_with}, where it was first seen"
    if last_without is not None:
        return f"after snapshot {last_without}"
    return "at a time that is not known"


def identifiers(item: Change | Finding) -> str:
    """What a program or a technician needs to name it exactly."""
    return f"{plain(item.id, 80)}  {plain(item.where)}".rstrip()


def gap(hole: Gap) -> str:
    """What could not be read and why, in one line without a full stop."""
    detail = f" ({plain(hole.detail)})" if hole.detail else ""
    return f"{_scope(hole)}: {_REASONS[hole.reason]}{detail}"


def _scope(hole: Gap) -> str:
    name = plain(hole.name)
    if hole.kind == "variables":
        # NAME-GUID: the GUID is always 36 characters.
        return "the firmware's variables" if name == "*" else f"the firmware variable {name[:-37] or name}"
    if hole.kind == "disk":
        return f"the disk {name}"
    if hole.kind == "volume":
        volume = f"the boot volume {name}"
        return f"{plain(hole.path)} on {volume}" if hole.path else volume
    return f"/{name}"


def moment(time: str) -> str:
    """An RFC 3339 time as people read it: ``2026-11-25 07:12 UTC``; what isn't one stays as it is."""
    try:
        parsed = datetime.datetime.fromisoformat(time)
    except ValueError:
        return plain(time, 40)
    if parsed.tzinfo is None:
        return plain(time, 40)
    return parsed.astimezone(datetime.UTC).strftime("%Y-%m-%d %H:%M UTC")


def day(time: str) -> str:
    """The day of an RFC 3339 time, in UTC: ``2026-11-25``."""
    return moment(time).partition(" ")[0]


def reading(snapshot: int | None) -> str:
    """What something was worked out from, by the number of the snapshot: a noun phrase."""
    return "a reading that was not recorded" if snapshot is None else f"snapshot {snapshot}"
