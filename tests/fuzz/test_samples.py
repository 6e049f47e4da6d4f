"""Inputs that once showed a fault, that earlier fuzzing kept, and some that are damaged at random."""

from random import Random

import pytest

from tests.fuzz.corpus import kept, samples
from tests.fuzz.limits import limited
from tests.fuzz.seeds import SEEDS
from tests.fuzz.targets import TARGETS, run

DAMAGED = 40
EDGES = (b"\0", b"\xff", b"\0" * 4, b"\xff" * 4, b"\xff" * 8, b"\x7f\xff", b"\x01\0", b"\0\x80")


def damage(random: Random, data: bytes) -> bytes:
    """A few bytes changed, some taken out or doubled, now and then the end cut off."""
    changed = bytearray(data)
    for _ in range(random.randint(1, 6)):
        at = random.randrange(len(changed) + 1)
        edge = random.choice(EDGES)
        match random.randrange(5):
            case 0 | 1:
                changed[at : at + len(edge)] = edge
            case 2:
                changed[at : at + 1] = random.randbytes(1)
            case 3:
                del changed[at : at + random.randint(1, 40)]
            case _:
                changed[at:at] = changed[at : at + random.randint(1, 40)]
    return bytes(changed[: random.randrange(len(changed) + 1)] if random.random() < 0.2 else changed)


# Those of volumes take as long as all others together.
@pytest.mark.parametrize(
    "name", [pytest.param(one, marks=pytest.mark.long) if one == "fat" else one for one in TARGETS]
)
def test_what_once_showed_a_fault(name: str) -> None:
    for sample in samples(name).values():
        # A volume is asked four questions, a second each.
        with limited(slowness=4 if name == "fat" else 1):
            run(name, sample)


@pytest.mark.parametrize("name", TARGETS)
def test_what_earlier_fuzzing_kept(name: str) -> None:
    inputs = kept(name)
    assert inputs
    with limited(slowness=3):
        for data in inputs:
            run(name, data)


@pytest.mark.parametrize("name", TARGETS)
def test_damaged_at_random(name: str) -> None:
    random = Random(name)
    seeds = SEEDS[name]()
    with limited(slowness=3):
        for _ in range(DAMAGED):
            run(name, damage(random, random.choice(seeds)))
