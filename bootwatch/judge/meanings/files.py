"""Loaders and the other files on boot volumes."""

from bootwatch.judge.meanings.common import KEYS_OF_OWN, SEALED
from bootwatch.model.meaning import Meaning

MEANINGS = (
    Meaning(
        name="loader-missing",
        headline="{what} is gone.",
        consequence="No entry that names this file can start {system} any more.",
        means=(
            "A loader is the first program of a system: the firmware runs it, and it starts the system. "
            "Without the file the firmware goes on to its next entry without a word, which looks as if the "
            "machine simply preferred the other system. It does not fall back to another file on the same "
            "volume."
        ),
        todo=(
            "See what would bring it back: `sudo bootwatch restore`, which writes nothing unless told to. Or "
            "install the boot loader of {system} again with that system's own tool."
        ),
        caution=f"{SEALED} {KEYS_OF_OWN}",
    ),
    Meaning(
        name="loader-added",
        headline="{what} is new.",
        consequence="An entry or the firmware's own search can now start it.",
        means=(
            "A file that an entry names, or one of the default names that firmware looks for by itself, has "
            "appeared. Installing or updating a system does this."
        ),
        todo="Compare it with what was installed lately; if nothing was, look into where it comes from.",
    ),
    Meaning(
        name="loader-changed",
        headline="{what} has other content.",
        consequence=(
            "The firmware runs the new content in the place of the old one; whether Secure Boot "
            "accepts it is not checked."
        ),
        means=(
            "Updates replace loaders; this is the usual reason. The other system's update may also overwrite "
            "a default file that {system} relied on."
        ),
        todo=(
            "See whether an update of the system that the loader belongs to ran then. If none did, check the "
            "file with that system's package tool before the next start, or install its boot loader again."
        ),
        caution=f"{SEALED} {KEYS_OF_OWN}",
    ),
    Meaning(
        name="loader-emptied",
        headline="{what} has been emptied.",
        consequence=(
            "The firmware cannot run an empty file, so no entry that names it can start {system} any more."
        ),
        means=(
            "The file is still listed and holds nothing. An update that was cut off, a full volume or a "
            "damaged file system leave such files behind. The firmware goes on to its next entry without a "
            "word."
        ),
        todo=(
            "Check that the volume has room and its file system is sound, then install the boot loader of "
            "{system} again with that system's own tool."
        ),
        caution=f"{SEALED} {KEYS_OF_OWN}",
    ),
    Meaning(
        name="file-missing",
        headline="{what} is gone.",
        consequence="It is not a loader that an entry names, but a loader may need it.",
        means=(
            "Beside loaders a boot volume holds settings, kernels, pictures, logs. Updates take old ones "
            "away, and some loaders rename files at every start."
        ),
        todo="Nothing, as long as an update or the loader itself explains it.",
    ),
    Meaning(
        name="file-added",
        headline="{what} is new.",
        consequence="It is not a loader that an entry names.",
        means=(
            "Updates add kernels and settings to a boot volume, and loaders write small files of their own. "
            "Files for a firmware update are laid there too, to be used at the next start."
        ),
        todo="Nothing, as long as an update or the loader itself explains it.",
    ),
    Meaning(
        name="file-changed",
        headline="{what} has other content.",
        consequence="It is not a loader that an entry names, but a loader may read it.",
        means="Updates change settings and kernels, and some loaders write to small files at every start.",
        todo="Nothing, as long as an update or the loader itself explains it.",
    ),
)
