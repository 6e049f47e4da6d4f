"""What can happen to the machine of two systems, one thing at a time (the other modules') or two at once."""

from tests.firmware.damage import DAMAGES, Damage, damage
from tests.firmware.damages_disks import reformatted
from tests.firmware.damages_entries import entry_deleted, fresh_store, order_turned
from tests.firmware.damages_files import default_taken, loader_deleted, loader_is_others
from tests.firmware.restore_machine import QUARRY, SYSTEMS, Dual

__all__ = ["DAMAGES", "Damage"]


@damage("entry and loader both gone")
def entry_and_loader(dual: Dual) -> None:
    entry_deleted(dual)
    loader_deleted(dual)


@damage("re-formatted, and the order turned")
def reformatted_and_turned(dual: Dual) -> None:
    reformatted(dual)
    order_turned(dual)


@damage("the other's boot volume emptied, and the entry deleted")
def emptied_and_deleted(dual: Dual) -> None:
    dual.volume(QUARRY).remove_folder("\\EFI")
    entry_deleted(dual)


@damage("loader and default file the other system's, and its entry first")
def taken_over(dual: Dual) -> None:
    loader_is_others(dual)
    default_taken(dual)
    order_turned(dual)


@damage("both boot volumes emptied, a fresh store")
def everything(dual: Dual) -> None:
    for system in SYSTEMS:
        dual.volume(system).remove_folder("\\EFI")
    fresh_store(dual)
