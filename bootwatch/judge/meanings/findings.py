"""What is wrong by itself, whether or not it drifted."""

from bootwatch.judge.meanings import findings_firmware, findings_volumes
from bootwatch.judge.meanings.common import MANUAL, SEALED
from bootwatch.model.meaning import Meaning

_STARTS = (
    Meaning(
        name="menu-not-shown",
        headline="Only {what} leads to {system}, and its waiting time is 0.",
        consequence="Nobody can choose {system} unless a key is pressed at the right moment.",
        means=(
            "A start menu that waits for no time is not shown: what comes first starts at once. Much "
            "firmware and many loaders still show it when a certain key is held down while they start."
        ),
        todo=(
            "Set the waiting time to a few seconds: in the firmware's setup, or in the settings of the "
            "loader whose menu it is. Or give {system} an entry of its own in the boot order."
        ),
        caution=MANUAL,
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
        name="starts-unwatched",
        headline="{what} went by without {system} watching.",
        consequence=(
            "What happened to the way this machine starts in that time is seen only now, all at once, and "
            "by whom it was done can't be told start by start."
        ),
        means=(
            "The TPM counts every start of the machine. bootwatch sees only those of the system that it is "
            "installed in; the others were starts of another system, of a stick, or of this one without "
            "bootwatch."
        ),
        todo=(
            "Look through `bootwatch drift` with that in mind. If the other system is the one in daily use, "
            "start {system} now and then."
        ),
    ),
    Meaning(
        name="restore-not-kept",
        headline="A restore wrote {what}, and after the next start it was as before.",
        consequence=(
            "What the restore brought back is gone again; what that means for each system is told with the "
            "change itself, if it is one."
        ),
        means=(
            "bootwatch read back each write at once, so it was there when the machine was switched off. Some "
            "firmware keeps a settings store of its own and puts it back while it starts, tidies entries "
            "that it doesn't like, or writes only with a good battery on its board. Another system that was "
            "started in between may have done it too."
        ),
        todo=(
            "Write it once more (`sudo bootwatch restore` shows how) and restart at once. If it is lost "
            "again, set it in the firmware's own setup, look there for an update of the firmware, and give "
            "the system a second way that the firmware leaves alone: `bootwatch restore --add-route SYSTEM`. "
            "A new baseline, or taking the restore back, ends this finding."
        ),
        caution=MANUAL,
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
            "Leave the machine running. `bootwatch routes` says of each way why it fails; look for a "
            "setting of the firmware that was changed (32 or 64 bits, where a disk is connected)."
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
            "See the reason in the list of what could not be read. A disk that gives errors should be "
            "looked at before the machine is switched off."
        ),
    ),
)
MEANINGS = (*findings_volumes.MEANINGS, *findings_firmware.MEANINGS, *_STARTS)
