"""Firmware boot entries (UEFI 2.10 chapter 3)."""

from bootwatch.judge.meanings.common import LOOK_AGAIN, MANUAL, SEALED
from bootwatch.model.meaning import Meaning

MEANINGS = (
    Meaning(
        name="entry-missing",
        headline="{what} is gone from the firmware.",
        consequence="The firmware can no longer start {system} through this entry.",
        means=(
            "An entry is a setting in the firmware that names a disk, a partition and the loader file to "
            "start there. It lies in the firmware's own memory, not on a disk. The other system's update, a "
            "firmware update, a person in the firmware's menu or the firmware itself (which may delete "
            "entries whose disk was absent at switch-on) can take it away. The loader file itself may well "
            "still be there."
        ),
        todo=(
            "See whether the entry's disk and loader file are still there (a "
            "missing one is listed beside this change). Then make the entry again: `sudo bootwatch "
            "restore` shows how, and writes nothing unless told to; or use the boot-loader installer of "
            "{system}."
        ),
        caution=f"{LOOK_AGAIN} {SEALED} {MANUAL}",
    ),
    Meaning(
        name="entry-added",
        headline="{what} is new in the firmware.",
        consequence=("There is one more way of starting; it matters where it stands early in the order."),
        means=(
            "Installing or updating a system adds entries. Much firmware also adds one of its own for every "
            "disk or stick that it finds, and takes it away again with the device."
        ),
        todo=(
            "Compare it with what was installed or plugged in lately. If nobody knows where it comes from, "
            "look at the file that it names before the next start."
        ),
        caution=(
            "Do not delete an entry only because it is new: an update of {system} may have made it in place "
            "of the one that you know."
        ),
    ),
    Meaning(
        name="entry-inactive",
        headline="{what} has been switched off in the firmware.",
        consequence=(
            "The firmware passes over this entry when it goes through its order, so it can no longer "
            "start {system} this way by itself."
        ),
        means=(
            "Each entry carries a mark that says whether the firmware may use it by itself. Without the mark "
            "it stays in the list, and is skipped. Some firmware clears the mark when the entry's disk was "
            "absent at switch-on, or when a device was switched off in its menu."
        ),
        todo=(
            "Check that the entry's disk is connected and not switched off in the firmware's menu. Then mark "
            "the entry active again, or let the boot-loader installer of {system} write it anew."
        ),
        caution=f"{LOOK_AGAIN} {SEALED} {MANUAL}",
    ),
    Meaning(
        name="entry-retargeted",
        headline="{what} now leads somewhere else.",
        consequence="Through this entry the firmware now goes to another place than before.",
        means=(
            "Number and name are the same as before, but the disk, the partition or the file behind them is "
            "another. Restoring, cloning or re-partitioning a disk does this, as does some firmware that "
            "puts a path of its own into entries that it doesn't know."
        ),
        todo=(
            "Compare before and after. If the old target is still there, let the boot-loader installer "
            "of {system} write its entry again. If the new one is meant, check that the file which it names "
            "exists."
        ),
        caution=f"{LOOK_AGAIN} {SEALED} {MANUAL}",
    ),
    Meaning(
        name="entry-renumbered",
        headline="{what} has another number.",
        consequence="The entry leads where it led before; only its number differs.",
        means=(
            "Deleting and making an entry again, by an installer or by the firmware, gives it the lowest "
            "free number. Where it stands in the order is a thing apart, and is reported as order-changed."
        ),
        todo="Nothing, unless a hot key or a script of yours names the entry by its number.",
    ),
    Meaning(
        name="entry-relabelled",
        headline="{what} has another name.",
        consequence=(
            "The entry leads where it led before; only the name that the firmware's menu shows differs."
        ),
        means="Installers and updates name their entries as they like, and some firmware changes names.",
        todo=(
            "As a rule nothing. Some firmware honours only certain names: if {system} stops starting on such "
            "a machine, give the entry its former name back."
        ),
    ),
    Meaning(
        name="entry-data-changed",
        headline="{what} hands other data to its loader.",
        consequence=(
            "The same loader of {system} is started with other data; what it makes of them can't be "
            "told from outside."
        ),
        means=(
            "Behind the path an entry can carry data for the loader: a command line, or a mark of whoever "
            "made the entry. Some loaders ignore it, some start another way because of it."
        ),
        todo=(
            "See whether an update of {system} ran at that time. If not, let its boot-loader installer write "
            "the entry again."
        ),
        caution=f"{LOOK_AGAIN} {SEALED} {MANUAL}",
    ),
)
