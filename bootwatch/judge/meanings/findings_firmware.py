"""What is wrong with the firmware's entries, settings and memory, by itself."""

from bootwatch.judge.meanings.common import LOOK_AGAIN, MANUAL, NO_CLEARING
from bootwatch.model.meaning import Meaning

MEANINGS = (
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
        name="order-without-variable",
        headline="The firmware's boot order names {what}, of which there is no usable variable.",
        consequence="The firmware passes over such a number, and some firmware takes it out of the order.",
        means=(
            "The order is a list of numbers, and each number stands for an entry of its own. An entry that "
            "was deleted by something that did not look after the order leaves its number behind; an entry "
            "that is malformed counts as none."
        ),
        todo=(
            "As a rule nothing: what comes next in the order is tried. If a system has lost its entry, that "
            "is told as entry-missing."
        ),
        caution=(
            "A new entry may get this number and so come into the order at a place that nobody chose for it."
        ),
    ),
    Meaning(
        name="lower-case-entry",
        headline="{what} is spelled with small letters, so the firmware does not see it.",
        consequence="It is in the firmware's memory and starts nothing; other entries are not affected.",
        means=(
            "The number of an entry is four digits, 0 to 9 and A to F, in capitals. Linux can make a "
            "variable with small letters all the same, and firmware that keeps to the standard passes over "
            "it."
        ),
        todo=(
            "If a system should start through it, let that system's boot-loader installer make its entry "
            "again. The dead one does no harm but takes room."
        ),
        caution=LOOK_AGAIN,
    ),
    Meaning(
        name="store-nearly-full",
        headline="There is hardly any room left in {what}.",
        consequence=(
            "New entries and updates of the Secure Boot lists may be refused, and what was lost could not "
            "be put back."
        ),
        means=(
            "Entries, order and keys share a small memory on the mainboard. Crash reports that the kernel "
            "leaves there, and entries made again and again, fill it. Some firmware gives room back only "
            "while it starts, so it can be full though little is in it."
        ),
        todo=(
            "Restart the machine once when it suits and see whether the firmware has made room. Crash "
            "reports of the kernel (dump-type0-..., shown in /sys/fs/pstore) may be saved and deleted "
            "there. If it stays full, look for a firmware update."
        ),
        caution=(
            "Delete no variable that you don't know: machines have been left unable to start by that. "
            f"{MANUAL}"
        ),
    ),
    Meaning(
        name="capsule-waiting",
        headline="{what} waits for the next start.",
        consequence=(
            "Updates of the firmware can lose or re-sort its boot entries and switch its settings back, so "
            "the next start may go another way."
        ),
        means=(
            "A system hands the firmware an update as a file (a capsule) on a boot volume, and tells it to "
            "look there at the next start. The boot entries lie in the memory that is then written."
        ),
        todo=(
            "Before the next start, have what is needed to start by hand somewhere else than on this "
            "machine: print or copy what `bootwatch baseline show` says of entries and order, and keep a "
            "bootable stick ready. The baseline's loaders are kept as spares on this machine. After the "
            "update see with `bootwatch drift` what it changed."
        ),
        caution=(
            "A new firmware is measured anew: where a disk's encryption key is sealed in the TPM, the "
            "recovery-key prompt may come up, so have the key at hand before you switch off. Do not switch "
            "off while the update runs."
        ),
    ),
)
