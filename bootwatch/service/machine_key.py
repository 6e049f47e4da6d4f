"""The key by which this machine's mails are proven: made once, kept, shown by its public half."""

from __future__ import annotations

from bootwatch.keep.files import write_whole
from bootwatch.places import Places
from bootwatch.problem import MachineProblem, UsageProblem
from bootwatch.tell.part import new_key, public_key


def public(places: Places) -> str:
    """The public half. Raises Problem where there is none, or it can't be read or used."""
    file = places.machine_key
    try:
        shown = public_key(file.read_bytes())
    except FileNotFoundError:
        raise MachineProblem(
            f"This machine has no key yet: there is no {file}.", "Run: sudo bootwatch machine-key --make"
        ) from None
    except PermissionError:
        raise UsageProblem(f"Only root may read {file}.", "Run: sudo bootwatch machine-key") from None
    except OSError as error:
        raise MachineProblem(f"{file} can't be read: {error.strerror}.") from error
    if shown is None:
        raise MachineProblem(
            f"{file} holds no key that can be used, so this machine's mails are not signed.",
            "Delete it, run: sudo bootwatch machine-key --make, and tell the roll call's list the new one.",
        )
    return shown


def make(places: Places) -> str:
    """Make a key where there is none; the public half. Raises Problem as ``public`` does, and where it can't
    be written."""
    file = places.machine_key
    try:
        if not file.exists():
            write_whole(file, new_key(), mode=0o600)
    except OSError as error:
        raise UsageProblem(f"{file} can't be written: {error.strerror}.", "Only root may do this.") from error
    return public(places)
