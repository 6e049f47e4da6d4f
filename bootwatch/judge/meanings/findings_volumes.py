"""What is wrong with boot volumes and the files on them, by itself."""

from bootwatch.judge.meanings.common import SEALED, TYPE_ONLY
from bootwatch.model.meaning import Meaning

MEANINGS = (
    Meaning(
        name="volume-not-esp",
        headline="{what} holds loaders, but its partition is not marked as an EFI system partition.",
        consequence=(
            "Firmware, as a rule, starts from it all the same; installers, boot-loader updates and "
            "automatic mounts go by the mark, and may pass it by or take another volume."
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
            "Entries and mounts that name the old identifier no longer lead to a disk whose identifiers "
            "were changed."
        ),
    ),
    Meaning(
        name="volume-nearly-full",
        headline="{what} is nearly full.",
        consequence=(
            "The next update of a loader or kernel there may fail in the middle, and leave a file cut short."
        ),
        means=(
            "An update writes the new file beside the old one before it takes that away, so a volume needs "
            "room for its largest file once more. Old kernels that nobody removed are what fills it most "
            "often."
        ),
        todo=(
            "Remove kernels that are no longer needed by the package manager of the system that put them "
            "there. Take nothing away by hand that you don't know; files of another system are not yours to "
            "judge."
        ),
        caution=(
            "Never remove the kernel that runs, nor the only other one: it is the way back when the newest "
            "doesn't start."
        ),
    ),
    Meaning(
        name="loaders-share-volume",
        headline="Loaders of more than one system lie on {what}, though one has a volume of its own.",
        consequence=(
            "What happens to this one volume (a new installation, a full disk, a failure) takes more than "
            "one system at once."
        ),
        means=(
            "Installers often put their loader on the first EFI system partition that they find, whatever "
            "disk their system lies on. Then two disks don't make two independent systems, and of two "
            "copies of one system's loaders only one gets its updates."
        ),
        todo=(
            "Nothing that hurries. See by `bootwatch rehearse` what the loss of this volume would do. To "
            "part them, let the boot-loader installer of the system that is the guest there put its loader "
            "on its own volume, and take the old one away only when it has started from the new place."
        ),
        caution=SEALED,
    ),
    Meaning(
        name="fstab-volume-missing",
        headline="{what} is on no disk of this machine, though fstab of {system} names it.",
        consequence=(
            "The next start of {system} waits for it and may end in emergency mode, unless its line in "
            "fstab says that it can do without."
        ),
        means=(
            "/etc/fstab says by an identifier which volume belongs where. Formatting a volume, making its "
            "partition anew or exchanging a disk gives it another identifier, and nothing carries that over "
            "to fstab. With nofail, noauto or an automount in the line the start goes on, but updates of "
            "loader and kernel then go nowhere, or into the empty folder."
        ),
        todo=(
            "While {system} still runs, see with `lsblk -f` what the volume is called now and correct its "
            "line in /etc/fstab; then try `systemctl daemon-reload` and `mount -a`, which should say "
            "nothing. If the disk is only disconnected, connect it before the next start."
        ),
        caution=(
            "If the volume was made anew, its loaders and kernels are gone too: a right line in fstab alone "
            "doesn't make {system} start."
        ),
    ),
    Meaning(
        name="volumes-disagree",
        headline="{what} are not the same.",
        consequence=(
            "Updates of {system} may go to one of them while the firmware starts it from the other, which "
            "grows old."
        ),
        means=(
            "A system is started from the volume that its boot entry names, and updates the one that is "
            "mounted below /boot or at /efi. After a disk was copied or exchanged, or a second EFI system "
            "partition made, these can be two. Nothing fails until an old loader no longer fits its new "
            "kernel, or is refused by Secure Boot."
        ),
        todo=(
            "See by the identifiers of this finding which volume is which, and decide for one. Mount that "
            "one by fstab in the usual place, let the boot-loader installer and the kernel packages of "
            "{system} write there once more, and let the boot entry lead there."
        ),
        caution=f"Leave the other volume as it is until the machine has started by the new way. {SEALED}",
    ),
    Meaning(
        name="file-damaged",
        headline="{what} is empty or damaged, and a way to start {system} goes through it.",
        consequence="Whatever starts through this file may stop there, or be passed over without a word.",
        means=(
            "The file is still listed, but it has no content, can't be read whole, or the file system holds "
            "it badly: two files share the same blocks, say. Switching off while an update writes does "
            "this, and so does a failing disk."
        ),
        todo=(
            "Leave the machine running. Let {system} write the file again, by its boot-loader installer or "
            "by installing its kernel package once more. If the file system is what is damaged, copy its "
            "files elsewhere first, then unmount it and check it (fsck.fat); look at the disk's health too."
        ),
        caution=(
            "A check that repairs may cut off or take away the damaged files: have copies of the loaders "
            f"first, those of every system on the volume. {SEALED}"
        ),
    ),
)
