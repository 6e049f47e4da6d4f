"""Trying a recovery kit on today's snapshot: worked out by the reader's user where there is one.

Root opens the kit and holds it against its sums; what a snapshot holds, and programs, are parsed by the
reader.
"""

from __future__ import annotations

import base64
import hashlib
import json
import os
from collections.abc import Sequence
from functools import partial
from itertools import accumulate
from operator import itemgetter
from pathlib import Path
from typing import IO, Any

from bootwatch.config import Config
from bootwatch.judge.systems import Systems
from bootwatch.judge.trust import is_on
from bootwatch.keep import baseline as baselines
from bootwatch.keep.baseline import Baseline
from bootwatch.keep.history import History
from bootwatch.model.snapshot import Snapshot
from bootwatch.places import Places
from bootwatch.problem import MachineProblem, UsageProblem
from bootwatch.recover.kit import Kit
from bootwatch.recover.kit_contents import BASELINE_YAML
from bootwatch.recover.kit_find import find
from bootwatch.recover.kit_match import match
from bootwatch.recover.kit_replay import Replay, Replayed
from bootwatch.recover.kit_same import require_same
from bootwatch.recover.trusted import Content
from bootwatch.service.ask import as_reader, must_ask
from bootwatch.service.from_kit import chosen
from bootwatch.service.read import observed

FORMAT = "bootwatch/kit-check/1"
_MOST = 256 << 20  # bytes of programs that are handed over
Document = dict[str, Any]


def check(places: Places, place: Path, *, as_json: bool) -> Document | int:
    """What the kit at ``place`` would bring back on this machine; an exit status instead where the reader's
    user showed it. Raises Problem for a kit that is damaged, or another machine's.

    By this machine's settings and not by the kit's own: which systems have to come back is what people say
    today. A restore out of the kit goes by those in it, and a kit that holds others is due to be renewed.
    """
    if not must_ask(places):
        kit = Kit.open(chosen(places, place).place)
        return tried(places, handed(places, kit), observed(places).snapshot, partial(_copy_of, kit))
    newest = _newest(places)
    kit = Kit.open(find(place, newest.state).place)
    with open(os.memfd_create("bootwatch-kit"), "w+b") as file:
        put(file, handed(places, kit), kit, with_programs=is_on(newest.state, newest.gaps) is not False)
        options: Sequence[str] = ["--json"] if as_json else []
        return as_reader(["baseline", "export", "--tried", str(file.fileno()), *options], [file.fileno()])


def _copy_of(kit: Kit, own: str) -> bytes | None:
    return kit.copy(own) if own in kit.copies else None


def handed(places: Places, kit: Kit) -> Document:
    """What is needed of a kit, so that who tries it needn't open it."""
    header = baselines.load_header(places.baseline)
    return {
        "kit": kit.name,
        "about": kit.about,
        "copies": sorted(kit.copies),
        "baseline": kit.baseline.document,
        "current": header.digest if header else None,
        "yaml": base64.b64encode(kit.files.read(BASELINE_YAML)).decode(),
    }


def put(file: IO[bytes], given: Document, kit: Kit, *, with_programs: bool) -> None:
    """What is handed over: the document in one line, and behind it programs, which only Secure Boot asks
    for."""
    sizes = _programs(kit) if with_programs else {}
    places = dict(zip(sizes, accumulate(sizes.values(), initial=0), strict=False))
    contents = {own: [places[own], size] for own, size in sizes.items()}
    file.write(json.dumps({**given, "contents": contents}).encode() + b"\n")
    for own in sizes:
        file.write(kit.copy(own))
    file.flush()
    file.seek(0)


def _programs(kit: Kit) -> dict[str, int]:
    """Sizes of the programs that the kit has copies of, by digest: the smallest first, as many as fit."""
    found = {
        file.sha256: file.size
        for volume in kit.state.volumes.values()
        for file in volume.files.values()
        if file.program and file.sha256 in kit.copies
    }
    sizes = sorted(found.items(), key=itemgetter(1))
    sums = accumulate(size for _, size in sizes)
    return {own: size for (own, size), total in zip(sizes, sums, strict=True) if own and total <= _MOST}


def tried_on_newest(places: Places, descriptor: int) -> Document:
    """The same for a kit that was handed over, on the newest recorded snapshot."""
    with os.fdopen(descriptor, "rb") as file:
        given = json.loads(file.readline())
        begin = file.tell()

        def content(own: str) -> bytes | None:
            at, size = given["contents"].get(own, (0, 0))
            file.seek(begin + at)
            data = file.read(size)
            return data if data and hashlib.sha256(data).hexdigest() == own else None

        return tried(places, given, _newest(places), content)


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


def tried(places: Places, given: Document, snapshot: Snapshot, content: Content) -> Document:
    """The kit under every single loss, as a document; ``content`` hands out what it has copies of."""
    require_same(given["kit"], given["baseline"], base64.b64decode(given["yaml"]))
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
    replay = Replay(baseline, copies.__contains__, content, snapshot, names, weights)
    losses = list(replay.all())
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
        "secure_boot": {"on": replay.secure.is_on, "doubtful": _doubtful(losses)},
    }


def _doubtful(losses: Sequence[Replayed]) -> list[Document]:
    """Each program that Secure Boot refuses, or may refuse, once: those that it refuses first."""
    found = {(one.volume, one.path): one for loss in losses for one in loss.doubtful}
    return [one.to_json() for one in sorted(found.values(), key=lambda one: one.trust.verdict.value)]
