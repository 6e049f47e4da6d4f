"""Damage to the files on boot volumes."""

from tests.firmware.damage import damage
from tests.firmware.programs import program
from tests.firmware.restore_machine import DEFAULT, FERNWICK, QUARRY, SYSTEMS, Dual


@damage("loader deleted")
def loader_deleted(dual: Dual) -> None:
    dual.volume(FERNWICK).remove(FERNWICK.loader)


@damage("loader emptied")
def loader_emptied(dual: Dual) -> None:
    dual.volume(FERNWICK).write({FERNWICK.loader: b""})


@damage("loader cut off in the middle")
def loader_cut(dual: Dual) -> None:
    own = program(FERNWICK.name)
    dual.volume(FERNWICK).write({FERNWICK.loader: own[: len(own) // 2]})


@damage("loader replaced by another program, which gives up")
def loader_replaced(dual: Dual) -> None:
    dual.volume(FERNWICK).write({FERNWICK.loader: program("leaver")})


@damage("loader replaced by the other system's")
def loader_is_others(dual: Dual) -> None:
    dual.volume(FERNWICK).write({FERNWICK.loader: program(QUARRY.name)})


@damage("the other system's loader deleted", is_lost=False)
def other_loader_deleted(dual: Dual) -> None:
    dual.volume(QUARRY).remove(QUARRY.loader)


@damage("default file overwritten by the other system", is_lost=False)
def default_taken(dual: Dual) -> None:
    dual.volume(FERNWICK).write({DEFAULT: program(QUARRY.name)})


@damage("default file gone", is_lost=False)
def default_gone(dual: Dual) -> None:
    dual.volume(FERNWICK).remove(DEFAULT)


@damage("loader and default file gone")
def both_files_gone(dual: Dual) -> None:
    loader_deleted(dual)
    default_gone(dual)


@damage("the loader's folder gone")
def folder_gone(dual: Dual) -> None:
    dual.volume(FERNWICK).remove_folder("\\EFI\\fernwick")


@damage("a file where the loader's folder was")
def folder_is_file(dual: Dual) -> None:
    folder_gone(dual)
    dual.volume(FERNWICK).write({"\\EFI\\fernwick": b"lost"})


@damage("boot volume emptied")
def volume_emptied(dual: Dual) -> None:
    dual.volume(FERNWICK).remove_folder("\\EFI")


@damage("loader emptied, and marked as one not to be written")
def loader_read_only(dual: Dual) -> None:
    loader_emptied(dual)
    dual.volume(FERNWICK).mark(FERNWICK.loader, "+r", "+s", "+h")


@damage("both loaders emptied", is_lost=False)
def both_loaders_emptied(dual: Dual) -> None:
    for system in SYSTEMS:
        dual.volume(system).write({system.loader: b""})
