"""Chance by a seed."""

import random
import uuid
from collections.abc import Mapping, Sequence
from typing import TypeVar

T = TypeVar("T")


class Chance(random.Random):
    """What a random machine is made by."""

    def often(self, weights: Mapping[T, float]) -> T:
        """One of the keys, each as often as its weight says."""
        return self.choices(list(weights), list(weights.values()))[0]

    def happens(self, share: float) -> bool:
        return self.random() < share

    def some(self, items: Sequence[T], least: int = 0) -> list[T]:
        """Some of them, in their order."""
        chosen = set(self.sample(range(len(items)), self.randint(min(least, len(items)), len(items))))
        return [item for place, item in enumerate(items) if place in chosen]

    def mixed(self, items: Sequence[T]) -> list[T]:
        return self.sample(items, len(items))

    def guid(self) -> str:
        return str(uuid.UUID(bytes=self.randbytes(16), version=4))
