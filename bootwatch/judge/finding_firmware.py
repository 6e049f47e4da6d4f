"""What is wrong with the firmware's own memory, and what it is about to do to it."""

from __future__ import annotations

from collections.abc import Iterator

from bootwatch.judge.capsules import waiting_capsules
from bootwatch.judge.finding import told
from bootwatch.judge.scene import Scene
from bootwatch.model.change import Finding
from bootwatch.model.level import Level

_KIB = 1024
# An update of the keys needs some 20 KiB in parts of a few; an entry 200 to 400 bytes.
_LITTLE, _NOTHING = 8 * _KIB, _KIB
_PART = 8


def of_firmware(scene: Scene) -> Iterator[Finding]:
    """All findings about the firmware's memory."""
    yield from _capsule_waiting(scene)
    yield from _store_nearly_full(scene)


def _capsule_waiting(scene: Scene) -> Iterator[Finding]:
    signs = waiting_capsules(scene.state)
    if signs:
        yield told("capsule-waiting", ("capsule",), "an update of the firmware", "; ".join(signs))


def _store_nearly_full(scene: Scene) -> Iterator[Finding]:
    """A size of 0 is how the kernel says that it can't tell."""
    size, free = scene.circumstance.store_size, scene.circumstance.store_free
    if not size or free is None or free >= min(_LITTLE, size // _PART):
        return
    level = Level.WEAKENED if free < _NOTHING else None
    said = "less than 1 KiB" if free < _NOTHING else f"{free // _KIB} KiB"
    where = f"{said} free of {size // _KIB} KiB"
    yield told("store-nearly-full", ("store",), "the firmware's memory for settings", where, level=level)
