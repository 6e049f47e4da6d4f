"""What really started, and whether a prediction came true.

Three things show it, the surest first: the firmware's log of measurements; BootCurrent (UEFI 2.10 §3.3), a
number that means what its entry says; LoaderDevicePartUUID (Boot Loader Interface), which is the loader's own
word and names only the partition it was loaded from.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from bootwatch.judge.entries import Entry, entry_name, parse_entry, read_entries, read_order, variable_of
from bootwatch.judge.glance import BOOT_FOLDER
from bootwatch.judge.pairs import plain
from bootwatch.judge.steps import By, Candidate, NextStart, Startup
from bootwatch.model.attempt import Origin
from bootwatch.model.path import fold, folder_of
from bootwatch.model.prediction import Outcome, Prediction, Proof, Target, Verdict
from bootwatch.model.snapshot import Circumstance, State
from bootwatch.model.variable import entry_number, key

LOG = "the firmware's log"
BOOT_CURRENT = "BootCurrent"
LOADER = "LoaderDevicePartUUID"

_PART_UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_LONGEST = 200  # characters of a path in a sentence


def predict(startup: Startup, state: State) -> Prediction:
    """The simulated next start in the form that is kept until the next start."""
    following = startup.next_start
    others = tuple(_target(candidate, state) for candidate in following.candidates)
    return Prediction(
        by=following.by.value,
        target=_target(following, state),
        label=following.label,
        certain=following.certain,
        others=others,
    )


def _target(what: NextStart | Candidate, state: State) -> Target:
    number = entry_number(key(what.entry)) if what.entry else None
    entry = _entry(state, number) if number is not None else None
    return Target(what.entry, what.volume, what.file, entry.identity if entry else ())


def _entry(state: State, number: int) -> Entry | None:
    """That one entry: there can be 65,536."""
    variable = state.variables.get(variable_of(number))
    return parse_entry(number, variable.data) if variable else None


# what started


def started(circumstance: Circumstance, startup: Startup, state: State, before: State | None = None) -> Proof:
    """What started the system that took this snapshot.

    ``startup`` is the simulation of ``state``, which says where entries lead; ``before`` the last state of
    the start before, which shows whether the number in BootCurrent still means the same entry.
    """
    logged, current = _logged(circumstance), circumstance.current_entry
    loader = _loader_volume(circumstance)
    entry = _entry(state, current) if current is not None else None
    if logged:
        return _by_log(logged, entry, startup)
    if entry:
        was = _entry(before, entry.number) if before else entry
        is_settled = was is not None and was.identity == entry.identity
        return _by_entry(entry, is_settled, loader, startup)
    doubt = f"BootCurrent names {entry_name(current)}, which does not exist." if current is not None else ""
    if loader:
        return Proof(Target(volume=loader), (LOADER,), doubt)
    return Proof(None, (), doubt)


def _logged(circumstance: Circumstance) -> Origin | None:
    """The program of the last option that the firmware called, unless it gave the start back."""
    last = circumstance.attempts[-1] if circumstance.attempts else None
    if last is None or last.returned or last.loader is None or last.loader.file is None:
        return None
    return last.loader


def _loader_volume(circumstance: Circumstance) -> str | None:
    """The identity of the volume that the loader says it came from."""
    text = circumstance.loader_partition
    return f"gpt:{text}" if _PART_UUID.fullmatch(text) else None


def _by_log(origin: Origin, entry: Entry | None, startup: Startup) -> Proof:
    found = Target(None, origin.volume, origin.file)
    if entry is None:
        return Proof(found, (LOG,))
    leads = _leads(entry, startup)
    if any(_is_file(lead, found) for lead in leads):
        spelled = next(lead for lead in leads if _is_file(lead, found))
        return Proof(Target(entry.name, spelled.volume, spelled.file, entry.identity), (LOG, BOOT_CURRENT))
    said = f"The log says {_words(found)}, but BootCurrent names {entry.name}, which now leads elsewhere."
    return Proof(found, (LOG,), said)


def _by_entry(entry: Entry, is_settled: bool, loader: str | None, startup: Startup) -> Proof:
    """``is_settled``: the number still means the entry that it meant before this start."""
    leads = _leads(entry, startup)
    evidence = (BOOT_CURRENT, LOADER) if loader else (BOOT_CURRENT,)
    there = [lead for lead in leads if loader is None or plain(lead.volume or "") == loader]
    doubt = ""
    if leads and not there:
        if not is_settled:
            said = f"{entry.name} was rewritten in between, and the loader says that it came from {loader}."
            return Proof(None, evidence, said)
        doubt = f"The loader that ran in the end says that it came from {loader}."
    found = there or leads
    if len({_place(lead) for lead in found}) == 1:
        return Proof(found[0], evidence, doubt)
    return Proof(Target(entry.name, None if leads else loader, None, entry.identity), evidence, doubt)


def _leads(entry: Entry, startup: Startup) -> list[Target]:
    """The files to which an entry leads, as the simulation finds them."""
    routes = (route for route in startup.routes if route.entry == entry.name)
    return [
        Target(entry.name, route.volume, route.file, entry.identity)
        for route in routes
        if route.volume and route.file
    ]


# whether it came true


@dataclass(frozen=True)
class Known:
    """What the verdict goes by besides: the states of before and now, the volumes and files by which this
    system was started so far, and whether the last look was taken at the shutdown."""

    before: State
    now: State
    own: tuple[Target, ...] = ()
    at_shutdown: bool = False


def judge(prediction: Prediction, proof: Proof, known: Known) -> Verdict:
    """Whether what was predicted started. Only starts of this system are ever seen: that another one was
    predicted is never refuted by it."""
    found = proof.target
    if found is None:
        return Verdict(Outcome.UNKNOWN, _sentences("Nothing shows for certain what started.", proof.doubt))
    if found.file is None and found.volume and not _is_alone(found.volume, known.now):
        why = (
            "Only the partition that the loader came from is known, and more than one system starts from it."
        )
        return Verdict(Outcome.UNKNOWN, _sentences(why, proof.doubt))
    hit = next((one for one in (prediction.target, *prediction.others) if _matches(one, found)), None)
    if hit:
        chance = "" if prediction.certain else "It was one of several that were named."
        return Verdict(Outcome.RIGHT, _sentences(f"{_words(found)} started.", chance, proof.doubt))
    return _missed(prediction, proof, found, known)


def _missed(prediction: Prediction, proof: Proof, found: Target, known: Known) -> Verdict:
    open_question = _left_open(prediction, known)
    if open_question:
        return Verdict(Outcome.UNKNOWN, _sentences(open_question, proof.doubt))
    predicted = "nothing" if prediction.by == By.NOTHING else _words(prediction.target)
    why = [f"Predicted was {predicted}, but {_words(found)} started."]
    if read_order(known.before) != read_order(known.now):
        why.append("The boot order was changed in between.")
    elif not known.at_shutdown:
        why.append("The last look before was not taken at the shutdown.")
    else:
        why.append("It may have been chosen by hand in the firmware's menu.")
    return Verdict(Outcome.WRONG, _sentences(*why, proof.doubt))


def _left_open(prediction: Prediction, known: Known) -> str:
    """Why a start of this system can't refute the prediction; "" where it does."""
    if prediction.by == By.SETUP:
        return "The firmware's own setup was to come first, and what was chosen there is not recorded."
    if not prediction.certain and not any(one.file for one in prediction.others):
        return "What starts next could not be told before."
    others = prediction.others or (prediction.target,)
    if prediction.by != By.NOTHING and not all(_is_own(one, known) for one in others):
        named = next(one for one in others if not _is_own(one, known))
        return (
            f"{_words(named)} was to start, which is not known as this system's;"
            " whether it did, before this start, is not recorded."
        )
    return ""


def _matches(predicted: Target, found: Target) -> bool:
    if found.file:
        return _is_file(predicted, found)
    if found.volume:
        return plain(predicted.volume or "") == plain(found.volume)
    # An entry that leads to more than one place: target and file of the entry.
    return bool(found.identity) and predicted.identity[:2] == found.identity[:2]


def _is_file(one: Target, found: Target) -> bool:
    """Whether both are the same file; a log doesn't name the volume of a disk without a table."""
    if one.file is None or found.file is None or fold(one.file) != fold(found.file):
        return False
    if found.volume is None:
        return (one.volume or "").startswith("fat:")
    return plain(one.volume or "") == plain(found.volume)


def _place(target: Target) -> tuple[str, str]:
    return plain(target.volume or ""), fold(target.file or "")


def _is_own(target: Target, known: Known) -> bool:
    """Whether a file is known as a loader of the system that bootwatch runs in.

    It is where it was used before; where it lies beside such a one, though not in the folder that is
    everybody's; and where it has the same content.
    """
    places = {_place(one) for one in known.own if one.file}
    if _place(target) in places:
        return True
    volume, file = _place(target)
    folder = folder_of(file)
    if folder not in ("", BOOT_FOLDER) and (volume, folder) in (
        (own_volume, folder_of(own_file)) for own_volume, own_file in places
    ):
        return True
    content = _content(target, known.now)
    return content is not None and content in {_content(one, known.now) for one in known.own}


def _content(target: Target, state: State) -> str | None:
    file = state.file(target.volume, target.file)
    return file.sha256 if file else None


def _is_alone(volume: str, state: State) -> bool:
    """Whether entries lead to one folder of a volume only, the folder that is everybody's apart."""
    folders = {
        fold(folder_of(entry.file))
        for entry in read_entries(state).values()
        if entry.volume == plain(volume) and entry.file
    }
    return len(folders - {BOOT_FOLDER}) < 2


def _words(target: Target) -> str:
    where = " on ".join(part[:_LONGEST] for part in (target.file, target.volume) if part)
    if target.entry and where:
        return f"{target.entry} ({where})"
    return target.entry or where or "what has no name"


def _sentences(*parts: str) -> str:
    return " ".join(part for part in parts if part)
