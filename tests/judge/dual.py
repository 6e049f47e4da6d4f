"""The usual machine of these tests: Fernwick Linux on one disk, Quarry on another, an entry for each."""

from __future__ import annotations

from tests.judge.paths import drive, file, option
from tests.judge.states import DEFAULT, FERNWICK, FERNWICK_PART, QUARRY, QUARRY_PART, VIRTIO, disk, program

HALL, ATTIC = disk("hall", FERNWICK_PART), disk("attic", QUARRY_PART, address=VIRTIO.format(5, 5))
ON_HALL = {FERNWICK: program("fernwick"), DEFAULT: program("fernwick")}
ON_ATTIC = {QUARRY: program("quarry")}
TO_FERNWICK = option("Fernwick Linux", drive(FERNWICK_PART), file(FERNWICK))
TO_QUARRY = option("Quarry", drive(QUARRY_PART), file(QUARRY))
ENTRIES = {0: TO_FERNWICK, 1: TO_QUARRY}
