"""The firmware itself: its version, Secure Boot and the keys behind it."""

from bootwatch.judge.meanings.common import MANUAL, SEALED
from bootwatch.model.meaning import Meaning

MEANINGS = (
    Meaning(
        name="secure-boot-switched",
        headline="Secure Boot has been switched.",
        consequence=(
            "Switched on, the firmware refuses loaders that its keys don't allow, and switched off, it "
            "starts any loader unchecked; which of your loaders it would refuse is not checked."
        ),
        means=(
            "With Secure Boot on, the firmware runs a loader only if it is signed by a key that it trusts. A "
            "person in the firmware's menu or a firmware update that resets its settings can switch it."
        ),
        todo=(
            "Find out who switched it. If it is now on, make sure before the next start that each system has "
            "a signed loader. If it is now off and should be on, it is switched back in the firmware's menu."
        ),
        caution=f"{SEALED} {MANUAL}",
    ),
    Meaning(
        name="keys-changed",
        headline="What Secure Boot goes by has changed: {what}.",
        consequence=(
            "With Secure Boot on, a loader that was allowed may now be refused, or the other way "
            "round; which ones is not checked."
        ),
        means=(
            "The firmware keeps lists of keys that it trusts and of keys and files that it refuses. Updates "
            "of either system and of the firmware add to them. A longer list of refusals can hit the other "
            "system's older loader."
        ),
        todo=(
            "Bring the boot loader of each system up to date while the machine still runs, and keep a rescue "
            "stick with a signed loader at hand."
        ),
        caution=(
            "These lists are signed: a saved copy cannot be written back. Do not reset the keys in the "
            f"firmware's menu unless its maker's manual says so. {SEALED}"
        ),
    ),
    Meaning(
        name="firmware-updated",
        headline="The firmware has another version.",
        consequence=(
            "A firmware update may drop or re-sort entries and reset settings; what it changed that can be "
            "seen is listed beside this change."
        ),
        means=(
            "The machine's firmware was replaced by another version, by an update from one of the systems or "
            "from a stick. Settings that the running system cannot see (which disks are on, the start mode) "
            "may be back at the factory's."
        ),
        todo=(
            "Look through the other changes for lost entries and another order, and put them right before "
            "the next start. Check the firmware's own settings at that start."
        ),
        caution=f"{SEALED} {MANUAL}",
    ),
)
