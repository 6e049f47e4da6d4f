"""What the firmware's own log of measurements says of this start."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from bootwatch.model.known import known_fields


@dataclass(frozen=True)
class Origin:
    """Where a program was loaded from; ``volume`` is an identity, None on a disk without a table."""

    volume: str | None
    file: str | None

    def to_json(self) -> dict[str, Any]:
        return dict(vars(self))

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> Origin:
        return cls(**known_fields(cls, document))


@dataclass(frozen=True)
class Attempt:
    """One boot option that the firmware called.

    ``loader`` is the program that was loaded for it, None where there was none to load; ``further`` are those
    that the loader had loaded, as far as it told the TPM; ``returned`` whether it came back, so that the
    firmware went on.
    """

    loader: Origin | None
    further: tuple[Origin, ...] = ()
    returned: bool = False

    def to_json(self) -> dict[str, Any]:
        return {
            "loader": self.loader.to_json() if self.loader else None,
            "further": [place.to_json() for place in self.further],
            "returned": self.returned,
        }

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> Attempt:
        loader = document["loader"]
        return cls(
            loader=Origin.from_json(loader) if loader else None,
            further=tuple(Origin.from_json(item) for item in document["further"]),
            returned=document["returned"],
        )
