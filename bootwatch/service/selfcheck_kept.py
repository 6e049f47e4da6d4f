"""Whether what is kept is whole: the history, the baseline, its spares, the kit, what was restored."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from bootwatch.model.checkup import Check, State
from bootwatch.model.spoken import Kit
from bootwatch.service.gathered import Gathered
from bootwatch.service.rights import quoted
from bootwatch.tell.phrases import counted, moment
from bootwatch.tell.plain import plain

_SUDO = "It takes sudo to see that."
_SAVE = "When both systems start as they should: sudo bootwatch baseline save --reason TEXT"
_SAID = 500
_MOST = 5


def _history(found: Gathered) -> Iterator[Check]:
    """The chain of what was recorded; that it can't be used at all is said of the reading."""
    if found.history_faults is None:
        if not found.history_trouble:
            yield Check("history", State.UNKNOWN, "Whether the history is whole is not known.", _SUDO)
        return
    for left, fault in enumerate(found.history_faults, 1 - len(found.history_faults)):
        yield Check("history", State.WRONG, plain(fault, _SAID), "" if left else _anew(found.history_file))
    if not found.history_faults:
        yield Check("history", State.FINE, "Each record is as it was written, and follows the one before.")


def _anew(file: str) -> str:
    begin = f"sudo mv --backup=numbered {file} {file}.damaged && sudo bootwatch snapshot"
    return f"What is whole can still be read. To begin a new one: {begin}"


def _baseline(found: Gathered) -> Iterator[Check]:
    if found.baseline_trouble:
        yield Check(
            "baseline", State.WRONG, plain(found.baseline_trouble, _SAID), found.baseline_mend or _SAVE
        )
    elif found.baseline is None:
        yield Check("baseline", State.UNKNOWN, "Whether there is a baseline is not known.", _SUDO)
    elif not found.baseline:
        yield Check("baseline", State.WRONG, "There is no baseline, so no change is noticed.", _SAVE)
    elif not found.is_logged:
        said = f"The log says nothing of the baseline of {moment(found.baseline)}: it was put there by hand."
        yield Check("baseline", State.WRONG, said, f"Look at it: bootwatch baseline show. {_SAVE}")
    elif found.compared and found.baseline_digest and found.compared != found.baseline_digest:
        said = "The last reading was compared with another baseline: its file was changed since."
        yield Check(
            "baseline",
            State.WRONG,
            said,
            "Look at it: bootwatch baseline show. Then: sudo bootwatch snapshot",
        )
    else:
        yield Check("baseline", State.FINE, f"There is one, saved {moment(found.baseline)}.")


def _spares(found: Gathered) -> Iterator[Check]:
    for file in found.spares_damaged[:_MOST]:
        mend = f"sudo rm -r {quoted(file)}. {_SAVE}"
        yield Check("spares", State.WRONG, f"The spare {plain(file, _SAID)} is damaged.", mend)
    if found.spares_lacking and not found.spares_damaged:
        names = ", ".join(plain(path, 100) for path in found.spares_lacking[:_MOST])
        those = counted(len(found.spares_lacking), "program")
        said = f"Of {those} in the baseline there is no spare, so they can't be brought back: {names}."
        yield Check("spares", State.WRONG, said, _SAVE)
    elif found.baseline and not found.spares_damaged and found.baseline_digest:
        yield Check(
            "spares",
            State.FINE,
            "Each program of up to 16 MiB in the baseline has one, and each is what its name says.",
        )


def _kit(found: Gathered) -> Iterator[Check]:
    """Said only where there is a baseline that one could be of."""
    if found.kit_here is False:
        mend = "sudo systemctl start bootwatch-kit.service"
        yield Check(
            "kit", State.WRONG, "The recovery kit on this machine is missing, or of a former baseline.", mend
        )
    mend = "Plug a stick in, then: sudo bootwatch baseline export --to FOLDER-OF-THE-STICK"
    if found.kit_elsewhere == Kit.FORMER:
        said = "The recovery kit that was put elsewhere is of a former baseline."
        yield Check("kit", State.WRONG, said, mend)
    elif found.kit_elsewhere == Kit.CURRENT:
        yield Check("kit", State.FINE, "The one that was put elsewhere is of this baseline.")
    elif found.kit_elsewhere == Kit.NONE:
        yield Check("kit", State.UNKNOWN, "No recovery kit lies elsewhere, as far as is known here.", mend)


def _restores(found: Gathered) -> Iterator[Check]:
    """Said only where something is left to be done."""
    if found.records_trouble:
        mend = "Without it that restore can't be taken back."
        yield Check("restore", State.WRONG, plain(found.records_trouble, _SAID), mend)
    elif found.unfinished:
        said = f"The restore that was begun {moment(found.unfinished)} was stopped or cut off."
        mend = "To go on with it: sudo bootwatch restore. To take it back: sudo bootwatch restore --undo"
        yield Check("restore", State.WRONG, said, mend)
    elif found.unkept:
        things = "; ".join(plain(one, 200) for one in found.unkept[:_MOST])
        said = f"What the last restore wrote was lost at a later start: {things}."
        mend = "See what the machine starts from: bootwatch drift. To write it again: sudo bootwatch restore"
        yield Check("restore", State.WRONG, said, mend)


KEPT: tuple[Callable[[Gathered], Iterator[Check]], ...] = (_history, _baseline, _spares, _kit, _restores)
