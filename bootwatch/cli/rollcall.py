"""bootwatch rollcall: which machines are well, out of what they mailed."""

from __future__ import annotations

import argparse
import datetime
import getpass
import json
import os
import sys
from pathlib import Path
from typing import Any

from bootwatch.problem import UsageProblem

PASSWORD = "BOOTWATCH_MAIL_PASSWORD"
_MOST = 4096
_EXPLAINED = """
A machine gives a sign of life at its first start once its interval (its setting sign_of_life) has gone by.
Out of its own history of being switched on comes how long that took at most; half as much again counts as
explained. What five machines and more (one in twenty) do on the same days counts as one pause.
Each part is signed with its machine's key. Whose key is whose stands in a list (~/.config/bootwatch/machines)
with lines "KEY NAME": --keys prints them. What is signed with no key of that list is shown, and changes
nothing of what is said of the machines in it. The mails themselves are left as they are, unread ones too.
Exit status: 0 all is well, 1 something is to be seen to, 2 wrong usage, 3 the mails can't be read.
"""


def add(commands: Any) -> None:
    """Add the command to the command line's subparsers."""
    command = commands.add_parser(
        "rollcall",
        help="which of many machines are well, in alert or silent, out of their mails",
        description="Reads what machines mailed, and says of each how it is and whether it is silent for "
        "longer than its rhythm explains.",
        epilog=_EXPLAINED,
    )
    command.add_argument(
        "source",
        metavar="SOURCE",
        help="a Maildir folder, an mbox file, or imaps://USER@HOST/FOLDER",
    )
    command.add_argument("--known", type=Path, metavar="FILE", help="the list of machines and their keys")
    command.add_argument(
        "--keys", action="store_true", help="print names and keys that were seen, for the list"
    )
    command.add_argument(
        "--password-file",
        type=Path,
        metavar="FILE",
        help=f"its first line is the password; else {PASSWORD} from the environment, or the keyboard",
    )
    command.add_argument("--json", action="store_true", help="show it as JSON")
    command.add_argument("--now", type=_time, help=argparse.SUPPRESS)
    command.set_defaults(run=run)


def _time(text: str) -> datetime.datetime:
    return datetime.datetime.fromisoformat(text).astimezone(datetime.UTC)


def run(arguments: argparse.Namespace) -> int:
    """Raises Problem where list or mails can't be read."""
    # Here, because mail and encryption take long to import.
    from bootwatch.rollcall import report, roll, source
    from bootwatch.rollcall.gather import gather
    from bootwatch.rollcall.known import Known, usual

    known = Known.load(arguments.known)
    gathered = gather(source.letters(arguments.source, lambda: password(arguments.password_file)), known)
    if arguments.keys:
        print(report.keys(gathered, known), end="")
        return 0
    now = arguments.now or datetime.datetime.now(datetime.UTC)
    called = roll.call(gathered.sightings, known, now)
    if arguments.json:
        print(json.dumps(report.document(called, gathered, now), indent=1))
    else:
        print(report.report(called, gathered, str(arguments.known or usual()), now), end="")
    return 0 if called.is_fine else 1


def password(file: Path | None) -> str:
    """The password for a mail server. Raises UsageProblem where there is none."""
    if file:
        return _in_file(file)
    if PASSWORD in os.environ:
        return os.environ[PASSWORD]
    if not sys.stdin.isatty():
        raise UsageProblem(
            "The mail server wants a password, and nobody can be asked.", "Use --password-file."
        )
    return getpass.getpass("Password: ")


def _in_file(file: Path) -> str:
    try:
        with file.open("rb") as opened:
            if os.fstat(opened.fileno()).st_mode & 0o077:
                raise UsageProblem(f"Others can read {file}, so it is not used.", f"Run: chmod 600 {file}")
            return opened.read(_MOST).split(b"\n")[0].rstrip(b"\r").decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise UsageProblem(f"{file} can't be read as a password.") from error
