"""One damage to the machine of two systems while it is off, and the table of them all."""

from collections.abc import Callable
from dataclasses import dataclass

from tests.firmware.restore_machine import Dual

Deed = Callable[[Dual], None]


@dataclass(frozen=True)
class Damage:
    """`is_lost`: whether Fernwick Linux no longer starts by itself or Quarry at all; `full`: entries have
    whole device paths; `entries`: it does nothing but to entries and their order."""

    name: str
    do: Deed
    is_lost: bool = True
    full: bool = False
    entries: bool = False


DAMAGES: dict[str, Damage] = {}


def damage(
    name: str, *, is_lost: bool = True, full: bool = False, entries: bool = False
) -> Callable[[Deed], Deed]:
    """Puts the function into the table."""

    def put(deed: Deed) -> Deed:
        DAMAGES[name] = Damage(name, deed, is_lost, full, entries)
        return deed

    return put
