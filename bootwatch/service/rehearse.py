"""A rehearsal on a reading: worked out with the reader's rights, and published for everybody to read."""

from __future__ import annotations

from typing import Any

from bootwatch.config import Config
from bootwatch.judge.rehearsal import rehearse
from bootwatch.judge.systems import Systems
from bootwatch.places import Places
from bootwatch.problem import MachineProblem
from bootwatch.service.read import Reading
from bootwatch.tell import board


def rehearsed(reading: Reading, config: Config) -> dict[str, Any]:
    """Every single loss on what was read, as the document that is shown."""
    snapshot, baseline = reading.snapshot, reading.baseline
    states = (*((baseline.state,) if baseline else ()), snapshot.state)
    systems = Systems.learn(states, config.system_names, snapshot.circumstance)
    found = rehearse(snapshot.state, snapshot.gaps, systems, systems.running())
    return {
        **found.to_json(),
        "machine": reading.machine,
        "snapshot": snapshot.number,
        "time": snapshot.circumstance.time,
        "gaps": [gap.to_json() for gap in snapshot.gaps],
    }


def publish_rehearsal(places: Places, reading: Reading, config: Config) -> None:
    """Leave the rehearsal for everybody to read. Raises MachineProblem when it can't be written."""
    document = rehearsed(reading, config)
    try:
        board.publish_document(places, "rehearsal.json", document)
    except OSError as error:
        raise MachineProblem(f"The rehearsal can't be written to {places.run}: {error.strerror}.") from error
