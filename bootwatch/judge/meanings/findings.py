"""What is wrong by itself, whether or not it drifted."""

from bootwatch.judge.meanings.common import MANUAL, NO_CLEARING, SEALED, TYPE_ONLY
from bootwatch.model.meaning import Meaning

MEANINGS = (
    Meaning(
        name="volume-not-esp",
        headline="{what} holds loaders, but its partition is not marked as an EFI system partition.",
        consequence=(
            "Firmware, as a rule, starts from it all the same; installers, boot-loader updates and automatic "
            "mounts go by the mark, and may pass it by or take another volume."
        ),
        means=(
            "A partition table says of each partition what sort it is. Firmware hardly ever looks at this "
            "mark, other software does."
        ),
        todo=(
            "Unless that is on purpose, set the partition's type to EFI system partition "
            "(c12a7328-f81f-11d2-ba4b-00a0c93ec93b on GPT disks, EF on MBR disks) with a partitioning tool."
        ),
        caution=f"{TYPE_ONLY} {SEALED}",
    ),
    Meaning(
        name="removable-first",
        headline="The firmware tries a removable disk first, through {what}.",
        consequence=(
            "Whatever loader lies on the disk that is plugged in there is started before the installed "
            "systems."
        ),
        means=(
            "The first entry in the firmware's order leads to a removable disk. That is handy for "
            "installing, and a forgotten stick then decides what the machine starts."
        ),
        todo="Take the disk out, or put the entry of the system that should start first in the order.",
    ),
    Meaning(
        name="next-left-behind",
        headline="The firmware is told to start {what} once, at the very next start.",
        consequence="The next start goes there first, and not to the first entry of the order.",
        means=(
            "The firmware forgets such a setting when it uses it. One that is there while a system runs was "
            "made since the last start, or the firmware did not use or not forget it."
        ),
        todo=(
            "If neither you nor an update wants it, clear it before the next start. If it comes back, the "
            "firmware does not forget it by itself: look for a firmware update."
        ),
        caution=NO_CLEARING,
    ),
    Meaning(
        name="same-identifiers",
        headline="{what} and another one have the same identifier.",
        consequence="Firmware and systems find a volume by its identifier, and may take either of the two.",
        means=(
            "A disk that was copied whole has the same identifiers as its original. With both connected, "
            "nobody can say which of them is started, and an update may go to the one that isn't."
        ),
        todo=(
            "Disconnect the copy, or give it identifiers of its own with a partitioning tool. Be sure which "
            "disk is the copy before you change anything."
        ),
        caution=(
            "Entries and mounts that name the old identifier no longer lead to a disk whose identifiers were "
            "changed."
        ),
    ),
    Meaning(
        name="unheard",
        headline="Switched on, the machine starts {what}, but bootwatch runs in {system}.",
        consequence=(
            "As long as {system} is not started, nobody is told of what happens to the way this machine "
            "starts."
        ),
        means=(
            "What happens is seen and told only while the system runs in which bootwatch is installed. "
            "Another system comes first in the firmware's order, or this one starts only when somebody "
            "chooses it."
        ),
        todo=(
            "If this system should start first, put its entry first in the boot order. If not, start it now "
            "and then; what each loss would do is shown by bootwatch rehearse."
        ),
        caution=SEALED,
    ),
    Meaning(
        name="no-way-left",
        headline="No way to start {system} is left, though nothing that it starts from has changed.",
        consequence="{what} would not start at the next switch-on.",
        means=(
            "Its loaders are as they were, and still the firmware would not come to them, or would not run "
            "them: the firmware itself works in another way than before, or a disk is connected elsewhere."
        ),
        todo=(
            "Leave the machine running. `bootwatch routes` says of each way why it fails; look for a setting "
            "of the firmware that was changed (32 or 64 bits, where a disk is connected)."
        ),
        caution=MANUAL,
    ),
    Meaning(
        name="unseen",
        headline="{what} could not be read this time.",
        consequence="Nothing can be said about it: it may be as it was, changed or gone.",
        means=(
            "The baseline holds it, and this reading could not look at it: the rights were missing, a disk "
            "gave an error, or a source wasn't there. What can't be read is never reported as missing."
        ),
        todo=(
            "See the reason in the list of what could not be read. A disk that gives errors should be looked "
            "at before the machine is switched off."
        ),
    ),
)
