"""What is known of the time in which something changed."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Trace(StrEnum):
    """What sort of thing was seen; the word is the same in JSON."""

    FILES_TOUCHED = "files-touched"  # another system's volatile files changed in between
    FIRMWARE_CHANGED = "firmware-changed"
    CAPSULE_WAITED = "capsule-waited"
    STARTS_UNSEEN = "starts-unseen"  # the TPM counted starts that this system did not see
    NO_OTHER_START = "no-other-start"  # the TPM counted none
    REALLY_RAN = "really-ran"  # what the firmware's log says it ran
    FAILED_FIRST = "failed-first"
    ORDER_SEEN = "order-seen"  # the order in which the firmware itself went
    PACKAGES = "packages"  # what this system's package manager did in between


@dataclass(frozen=True)
class Evidence:
    """One thing known of the time between two snapshots. ``sentence`` may carry hostile characters."""

    trace: Trace
    sentence: str

    def to_json(self) -> dict[str, str]:
        return {"trace": self.trace.value, "sentence": self.sentence}

    @classmethod
    def from_json(cls, document: dict[str, str]) -> Evidence:
        return cls(Trace(document["trace"]), document["sentence"])
