"""Boot volumes and the partitions that they lie in."""

from bootwatch.judge.meanings.common import SEALED, TYPE_ONLY
from bootwatch.model.meaning import Meaning

MEANINGS = (
    Meaning(
        name="volume-missing",
        headline="{what} is not there any more.",
        consequence=(
            "Every way of starting {system} that leads through a loader on this volume is lost while "
            "it is away."
        ),
        means=(
            "A boot volume is a small partition that holds loader files. Its disk may be unplugged, broken "
            "or switched off in the firmware's menu, or the partition may have been deleted. Had it only "
            "been unreadable, this would be said instead."
        ),
        todo=(
            "Find out whether the whole disk is missing or only the partition. For a missing disk check the "
            "cable, the firmware's settings and the disk's health; for a missing partition bring the "
            "partition table back before anything is written to that disk."
        ),
        caution=(
            "Some firmware deletes the entries of a disk that is absent at switch-on. So connect the disk "
            "again before the next start, and do not create a new partition in the place of the lost one."
        ),
    ),
    Meaning(
        name="volume-added",
        headline="{what} is new.",
        consequence="The firmware may find a loader there too.",
        means=(
            "A stick, a new disk, or a new partition of a kind from which firmware starts. Firmware that "
            "finds no working entry looks for a default loader file on such volumes, on removable disks "
            "first."
        ),
        todo=(
            "If it is a stick that should not be started from, take it out before the machine is switched "
            "off."
        ),
    ),
    Meaning(
        name="volume-reformatted",
        headline="{what} has been formatted anew.",
        consequence="Whatever loader was on it before is there only if it has been put back since.",
        means=(
            "The partition is the one known from before, but its file system carries another serial number: "
            "somebody formatted it. Installers do so when they are told to erase a disk or a boot volume."
        ),
        todo=(
            "See which loader files are missing (they are listed as loader-missing) and install the boot "
            "loader of each system that had one there again, while the machine still runs."
        ),
        caution=(
            "The system table of mounts may name the file system by its old serial number and then stop the "
            "start: check that as well."
        ),
    ),
    Meaning(
        name="partition-retyped",
        headline="The partition type of {what} has changed.",
        consequence=(
            "Firmware, as a rule, does not look at the type and still starts from it; installers, "
            "boot-loader updates and automatic mounts do look, and may now pass it by."
        ),
        means=(
            "A partition table says of each partition what sort it is. Boot volumes have a type of their own "
            "(the EFI system partition). Partitioning tools and installers, told that the partition is "
            "ordinary data, flip it. Files and entries are not touched by that."
        ),
        todo=(
            "Set the type back with a partitioning tool: EFI system partition, "
            "c12a7328-f81f-11d2-ba4b-00a0c93ec93b on GPT disks, EF on MBR disks; `sudo bootwatch restore` "
            "names the change, and sets the type once that is asked of it. Do so before the next update of a "
            "boot loader."
        ),
        caution=f"{TYPE_ONLY} {SEALED}",
    ),
    Meaning(
        name="partition-renumbered",
        headline="The partition of {what} has another number.",
        consequence=(
            "Entries that name this partition carry the old number; firmware that compares numbers no "
            "longer finds it through them."
        ),
        means=(
            "Partitioning tools can sort partitions and give them new numbers. An entry names its partition "
            "by identifier and by number, and the reference firmware compares both. Size and place don't "
            "matter to it."
        ),
        todo=(
            "Write the entries that lead to this partition again, with the boot-loader installer of each "
            "system that starts from it, or give the partition its former number back."
        ),
        caution=f"{TYPE_ONLY} {SEALED}",
    ),
    Meaning(
        name="partition-reidentified",
        headline="The partition of {what} has another identifier.",
        consequence=(
            "Entries name the partition by its identifier, so those with the old one no longer lead here."
        ),
        means=(
            "Every partition has a unique identifier in the partition table. It changes when a partition is "
            "deleted and made again in the same place, or when a copied disk is told to differ from its "
            "original."
        ),
        todo=(
            "Give the partition its old identifier back with a partitioning tool, or write the entries again "
            "and check that the system table of mounts doesn't name the old identifier."
        ),
        caution=f"{TYPE_ONLY} {SEALED}",
    ),
)
