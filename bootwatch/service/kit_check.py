"""Trying a recovery kit on today's snapshot: worked out by the reader's user where there is one.

Root opens the kit and holds it against its sums; what a snapshot holds is parsed by the reader.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from bootwatch.config import Config
from bootwatch.judge.systems import Systems
from bootwatch.keep import baseline as baselines
from bootwatch.keep.baseline import Baseline
from bootwatch.keep.history import History
from bootwatch.model.snapshot import Snapshot
from bootwatch.places import Places
from bootwatch.problem import MachineProblem, UsageProblem
from bootwatch.recover.kit import Kit
from bootwatch.recover.kit_find import find
from bootwatch.recover.kit_match import match
from bootwatch.recover.kit_replay import Replay, Replayed
from bootwatch.service.ask import as_reader, must_ask
from bootwatch.service.from_kit import chosen
from bootwatch.service.read import observed

FORMAT = "bootwatch/kit-check/1"
Document = dict[str, Any]


def check(places: Places, place: Path, *, as_json: bool) -> Document | int:
    """What the kit at ``place`` would bring back on this machine; an exit status instead where the reader's
    user showed it. Raises Problem for a kit that is damaged, or another machine's."""
    if not must_ask(places):
        kit = Kit.open(chosen(places, place).place)
        return tried(places, handed(places, kit), observed(places).snapshot)
    kit = Kit.open(find(place, _newest(places).state).place)
    with open(os.memfd_create("bootwatch-kit"), "w+b") as file:
        file.write(json.dumps(handed(places, kit)).encode())
        file.flush()
        file.seek(0)
        options: Sequence[str] = ["--json"] if as_json else []
        return as_reader(["baseline", "export", "--tried", str(file.fileno()), *options], [file.fileno()])


def handed(places: Places, kit: Kit) -> Document:
    """What is needed of a kit, so that who tries it needn't open it."""
    header = baselines.load_header(places.baseline)
    return {
        "kit": kit.name,
        "about": kit.about,
        "copies": sorted(kit.copies),
        "baseline": kit.baseline.document,
        "current": header.digest if header else None,
    }


def tried_on_newest(places: Places, descriptor: int) -> Document:
    """The same for a kit that was handed over, on the newest recorded snapshot."""
    with os.fdopen(descriptor, "rb") as file:
        return tried(places, json.load(file), _newest(places))


def _newest(places: Places) -> Snapshot:
    with History.look(places.history) as history:
        row = next(iter(history.rows(1)), None) if history else None
        if history is None or row is None:
            raise MachineProblem("No snapshot was recorded yet.", "Run: sudo bootwatch snapshot")
        return history.snapshot(row.number)


def all_back(losses: Sequence[Replayed]) -> bool | None:
    """Whether the kit brings back all that a kit can; None where that can't be told of some losses."""
    if any(one.is_failure for one in losses):
        return False
    return None if any(one.back is None for one in losses) else True


def tried(places: Places, given: Document, snapshot: Snapshot) -> Document:
    """The kit under every single loss, as a document."""
    about, config = given["about"], Config.load(places.config)
    baseline = Baseline(given["baseline"], about["baseline"]["digest"])
    found = match(about, snapshot.state)
    if not found.is_possible:
        raise UsageProblem(
            f"The kit {given['kit']} is of another machine ({about['machine']}): {found.words}.",
            "Name the kit of this machine.",
        )
    copies = {*given["copies"], *baseline.state.texts}
    names, weights = config.system_names, config.weights
    losses = list(Replay(baseline, copies.__contains__, snapshot, names, weights).all())
    systems = Systems.learn((baseline.state, snapshot.state), names, snapshot.circumstance)
    return {
        "format": FORMAT,
        "kit": given["kit"],
        "about": about,
        "match": found.to_json(),
        "words": found.words,
        "is_current": given["current"] == about["baseline"]["digest"],
        "snapshot": snapshot.number,
        "time": snapshot.circumstance.time,
        "systems": [one.name for one in systems.all() if one.is_watched],
        "back": all_back(losses),
        "losses": [one.to_json() for one in losses],
    }
