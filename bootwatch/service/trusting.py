"""What Secure Boot, as it is set today, makes of programs that a plan would put on the machine.

Their copies are parsed for it: on the running machine by the reader's user, who works plans out.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

from bootwatch.judge.outlook import Outlook
from bootwatch.judge.trust import SecureBoot, Verdict
from bootwatch.keep import spares
from bootwatch.model.snapshot import Snapshot
from bootwatch.places import Places
from bootwatch.recover.kit import opened
from bootwatch.recover.steps import Step, after_all
from bootwatch.recover.trusted import Trusted


def doubtful(
    places: Places, snapshot: Snapshot, steps: Sequence[Step], then: Outlook
) -> list[dict[str, Any]]:
    """Programs that it would refuse, and those of which that can't be told, as JSON. ``then`` is what starts
    after the steps."""
    trusted = Trusted(SecureBoot.of(snapshot.state, snapshot.gaps), partial(_content, places))
    files = trusted.of_steps(steps, after_all(snapshot.state, steps), then).values()
    return [one.to_json() for one in files if one.trust.verdict is not Verdict.ALLOWED]


def _content(places: Places, own: str) -> bytes | None:
    if places.from_kit:
        kit = opened(places.from_kit)
        return kit.copy(own) if own in kit.copies else None
    return spares.read(places.spares, own)
