"""What became of one message at one address."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Result(StrEnum):
    DELIVERED = "delivered"
    SKIPPED = "skipped"
    FAILED = "failed"


@dataclass(frozen=True)
class Outcome:
    """``why`` is one clause for people, "" for delivered; ``final`` says that it is not tried again."""

    result: Result
    why: str = ""
    final: bool = True

    @classmethod
    def delivered(cls) -> Outcome:
        return cls(Result.DELIVERED)

    @classmethod
    def skipped(cls, why: str) -> Outcome:
        return cls(Result.SKIPPED, why)

    @classmethod
    def failed(cls, why: str, *, for_good: bool) -> Outcome:
        return cls(Result.FAILED, why, final=for_good)
