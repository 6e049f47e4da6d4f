"""--kit: a command goes by a recovery kit instead of this machine's own baseline."""

from __future__ import annotations

import argparse
import os
import shlex
import sys
from pathlib import Path

from bootwatch.carried import command
from bootwatch.cli.showing import is_only_published
from bootwatch.problem import UsageProblem
from bootwatch.tell.plain import plain

_PATH = 4000


def offer_kit(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--kit",
        metavar="KIT",
        help="go by a recovery kit (its folder, its zip, or the stick with several) instead of the baseline",
    )


def go_by_kit(arguments: argparse.Namespace, *, insists: bool = False) -> None:
    """Put the kit in the place of the baseline, where one is named, and say which it is.
    ``insists``: somebody says which volume is which, though no disk is known. Raises Problem."""
    if arguments.kit is None:
        return
    from bootwatch.service.from_kit import chosen, with_kit

    if is_only_published(arguments.places):
        raise UsageProblem("Whose a kit is can be told with root's rights only.", "Run it with sudo.")
    found = chosen(arguments.places, Path(arguments.kit).resolve(), insists=insists)
    state = Path(arguments.state) if arguments.state else None
    settings = Path(arguments.config) if arguments.config else None
    arguments.places = with_kit(arguments.places, found, state=state, settings=settings)
    print(f"Kit {plain(found.words, _PATH)}", file=sys.stderr)
    if getattr(arguments, "write", False):
        print(
            f"What is written is recorded in {plain(str(arguments.places.restores), _PATH)}", file=sys.stderr
        )
    if arguments.places.is_this_machine and os.geteuid() == 0:
        print("Worked out with root's own rights, since no service stands beside a kit.", file=sys.stderr)


def as_called(name: str, arguments: argparse.Namespace) -> str:
    """How to call a command again, in a hint."""
    words = [command(), *(["--root", arguments.root] if arguments.root != "/" else [])]
    words += ["--state", arguments.state] if arguments.state else []
    kit = getattr(arguments, "kit", None)
    words += [name, *(["--kit", kit] if kit else [])]
    head, *rest = words
    return " ".join([head, *map(shlex.quote, rest)])
