"""bootwatch alerts test: whether messages get through."""

from __future__ import annotations

import argparse
import json
import os
from typing import TYPE_CHECKING, Any

from bootwatch.places import Places
from bootwatch.problem import UsageProblem
from bootwatch.tell.plain import plain

if TYPE_CHECKING:
    from bootwatch.service.try_addresses import Tried


def add(parts: Any) -> None:
    """Add the part to those of `bootwatch alerts`."""
    part = parts.add_parser(
        "test",
        help="send a test message to each address",
        description="Sends a test message to each address and says what became of it: delivered, skipped or "
        "failed, and why. Delivered means that the server took it; look whether it arrived. Nothing is tried "
        "again. Exit status: 0 all were delivered, 1 some failed, 2 a mistake in the settings or addresses.",
    )
    part.add_argument("names", nargs="*", metavar="NAME", help="only the addresses called so")
    part.add_argument("--json", action="store_true", help="show what became of each as JSON")
    # The addresses as an open file, from root to the sender's user.
    part.add_argument("--given", type=int, help=argparse.SUPPRESS)
    part.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Raises Problem where nothing can be tried."""
    if arguments.given is None and arguments.places.is_this_machine and os.geteuid() == 0:
        return _as_sender(arguments)
    # Here, because mail and encryption take long to import and no other command needs them.
    from bootwatch.service.try_addresses import try_addresses

    tried = try_addresses(arguments.places, arguments.names, _given(arguments))
    if arguments.json:
        print(json.dumps(_document(tried), indent=1))
    else:
        for one in tried:
            print(_shown(one))
    return 1 if any(one.outcome.result.value == "failed" for one in tried) else 0


def _as_sender(arguments: argparse.Namespace) -> int:
    """Root hands the addresses over and talks with no server itself."""
    from bootwatch.service.ask import as_sender

    places: Places = arguments.places
    command = ["--config", str(places.config), "alerts", "test", *(["--json"] if arguments.json else [])]
    try:
        with places.addresses.open("rb") as file:
            return as_sender(
                [*command, "--given", str(file.fileno()), "--", *arguments.names], [file.fileno()]
            )
    except FileNotFoundError:
        return as_sender([*command, "--", *arguments.names])


def _given(arguments: argparse.Namespace) -> bytes | None:
    if arguments.given is not None:
        with os.fdopen(arguments.given, "rb") as file:
            return file.read()
    file = arguments.places.addresses
    if file.exists() and not os.access(file, os.R_OK):
        raise UsageProblem(f"{file} is not for you to read: passwords may stand in it.", "Try it with sudo.")
    return None


def _shown(tried: Tried) -> str:
    why = f": {plain(tried.outcome.why)}" if tried.outcome.why else ""
    return f"{plain(tried.address.name, 80)}: {tried.outcome.result.value}{why}"


def _document(tried: list[Tried]) -> dict[str, Any]:
    found = [
        {
            "address": one.address.name,
            "reader": one.address.reader,
            "outcome": one.outcome.result.value,
            "why": one.outcome.why,
        }
        for one in tried
    ]
    return {"format": "bootwatch/alerts-test/1", "addresses": found}
