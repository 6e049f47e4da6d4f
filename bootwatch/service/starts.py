"""Did it come true? What a snapshot predicts, and at the first one of a start, how that start went."""

from __future__ import annotations

from bootwatch.judge.custody import Look, custody_between
from bootwatch.judge.habits import Seen, sightings
from bootwatch.judge.proof import Known, judge, predict, started
from bootwatch.judge.startup import Startup
from bootwatch.keep import predictions
from bootwatch.keep.history import History
from bootwatch.model.habit import Sighting
from bootwatch.model.prediction import Start
from bootwatch.model.snapshot import Moment, Snapshot

# The parts of former states that are looked at; a whole one takes far longer to load.
_PARTS = ("variables", "tables")


def keep_prediction(history: History, snapshot: Snapshot, startup: Startup) -> None:
    """Keep what a snapshot predicts; if it is the first one of a start, also what started and whether that
    was predicted. ``startup`` is the simulation of the snapshot. Call it in the transaction that records it.
    """
    number, boot_id = snapshot.number, snapshot.circumstance.boot_id
    if number is None:
        return
    predictions.keep(history, number, predict(startup, snapshot.state))
    last = predictions.last_look(history, number)
    if boot_id is None or (last and last[1] == boot_id):
        return
    if last and last[1]:
        _add_start_after(history, snapshot, startup, Look(*last))
    else:
        proof = started(snapshot.circumstance, startup, snapshot.state)
        predictions.add_start(history, Start(number, proof.target), [])


def _add_start_after(history: History, snapshot: Snapshot, startup: Startup, last: Look) -> None:
    """``last`` is the last look of the start before."""
    number = snapshot.number or 0
    end = Seen(*history.state(last.number, _PARTS))
    proof = started(snapshot.circumstance, startup, snapshot.state, end.state)
    prediction = predictions.prediction_of(history, last.number)
    verdict = None
    if prediction:
        own = tuple(predictions.used(history))
        known = Known(end.state, snapshot.state, own, last.moment is Moment.SHUTDOWN)
        verdict = judge(prediction, proof, known)
    start = Start(number, proof.target, last.number if verdict else None, verdict)
    predictions.add_start(history, start, _sightings(history, snapshot, last, end))


def _sightings(history: History, snapshot: Snapshot, last: Look, end: Seen) -> list[Sighting]:
    first = predictions.first_look(history, last.boot_id or "")
    begin = Seen(*history.state(first, _PARTS)) if first and first != last.number else None
    now = Look(snapshot.number or 0, snapshot.circumstance.boot_id, snapshot.circumstance.moment)
    return sightings(begin, end, Seen(snapshot.state, snapshot.gaps), custody_between(last, now))
