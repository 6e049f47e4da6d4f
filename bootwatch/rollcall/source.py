"""Where the mails are: which of the three sorts of source is meant."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from bootwatch.problem import MachineProblem, UsageProblem
from bootwatch.rollcall import imap, maildir, mbox
from bootwatch.rollcall.letter import Letter
from bootwatch.tell.plain import plain


def letters(source: str, password: Callable[[], str]) -> Iterator[Letter]:
    """The mails of ``source``. Raises UsageProblem where it is none, MachineProblem when
    it can't be read."""
    scheme, separator, _ = source.partition("://")
    if separator:
        if scheme.lower() not in imap.SCHEMES:
            raise UsageProblem("A mail folder on a server begins with imaps://.")
        yield from imap.Mailbox(imap.Server.parse(source), password).letters()
        return
    path = Path(source)
    try:
        yield from _opened(path)
    except OSError as error:
        raise MachineProblem(f"{plain(source)} can't be read: {error.strerror}.") from error


def _opened(path: Path) -> Iterator[Letter]:
    path.stat()
    if maildir.is_one(path):
        return maildir.letters(path)
    if mbox.is_one(path):
        return mbox.letters(path)
    raise UsageProblem(
        f"{plain(str(path))} is neither a Maildir folder nor an mbox file.",
        "A Maildir has the folders new and cur in it.",
    )
