"""In which order the firmware tries its entries, and for how long it waits."""

from bootwatch.judge.meanings.common import LOOK_AGAIN, NO_CLEARING, SEALED
from bootwatch.model.meaning import Meaning

MEANINGS = (
    Meaning(
        name="order-changed",
        headline="The firmware tries its entries in another order.",
        consequence="Another entry may now come first.",
        means=(
            "The firmware goes through a list of entry numbers and starts the first one that works. "
            "Installers and updates put their own entry first; some firmware sorts the list anew at every "
            "start."
        ),
        todo=(
            "Look at what stands first now. If it is not what should start, change the order now, from the "
            "running system or in the firmware's own menu."
        ),
        caution=f"{LOOK_AGAIN} {SEALED}",
    ),
    Meaning(
        name="next-set",
        headline="An entry has been set to start once, at the very next start.",
        consequence=(
            "An entry that is set to start once goes before the whole order, and the firmware forgets it "
            "before it starts it."
        ),
        means=(
            "A person or an update can tell the firmware to start a given entry one single time. Updates of "
            "systems and of firmware use this. The reference firmware does it even where the entry is "
            "switched off."
        ),
        todo=(
            "If one is set and neither you nor an update wanted it, clear it before the next start. If an "
            "update is waiting to be installed that way, let it."
        ),
        caution=NO_CLEARING,
    ),
    Meaning(
        name="timeout-changed",
        headline="The firmware waits for another time before it starts by itself.",
        consequence="Only the time in which a key can be pressed differs; what is started stays the same.",
        means=(
            "Before the firmware starts the first entry it waits so many seconds for a key. 0 means that it "
            "doesn't wait, 65535 that it waits until a person chooses."
        ),
        todo=(
            "If the wait is now so short that nobody can reach the firmware's menu, or so long that the "
            "machine no longer starts unattended, set it back."
        ),
    ),
)
