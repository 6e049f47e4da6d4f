"""Sentences that several documents share word for word, so that a message says them once."""

SEALED = (
    "Where a disk's encryption key is sealed in the TPM, a change to entries, their order, loaders, the "
    "partition table or Secure Boot can bring up the recovery-key prompt at the next start: have the key at "
    "hand before you switch off, and before you put anything back."
)
LOOK_AGAIN = (
    "Some firmware drops, re-sorts or rewrites entries at the next start, so what was written is no proof: "
    "look again after it."
)
MANUAL = "What this machine's firmware does with entries and settings is in its maker's manual."
TYPE_ONLY = (
    "Creating the partition anew or formatting it takes the loaders away, of every system that has some "
    "there: change nothing but what is named here."
)
KEYS_OF_OWN = (
    "With Secure Boot on, take a loader only from the system that it belongs to: the firmware refuses one "
    "that its keys don't allow."
)
NO_CLEARING = "Clearing it can stop an update that is prepared for the next start."
