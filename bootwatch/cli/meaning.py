"""bootwatch meaning: what a change or finding means, and what to do about it."""

from __future__ import annotations

import argparse
import difflib
import json
from dataclasses import asdict
from typing import Any

from bootwatch.judge.meanings import CHANGES, FINDINGS, MEANINGS, fill
from bootwatch.model.meaning import Meaning
from bootwatch.problem import UsageProblem
from bootwatch.tell.layout import wrapped

_WIDTH = 80
_NOUNS = {
    "entry": "an entry",
    "order": "the boot order",
    "next": "an entry",
    "timeout": "the waiting time",
    "volume": "a boot volume",
    "partition": "a boot volume",
    "loader": "a loader",
    "file": "another file on a boot volume",
    "secure": "Secure Boot",
    "keys": "one of its key lists",
    "firmware": "the firmware",
    "removable-first": "one of its entries",
    "same-identifiers": "a disk or partition",
    "loaders-share-volume": "one boot volume",
    "fstab-volume-missing": "a boot volume",
    "volumes-disagree": "the boot volume that a system starts from and the one that it updates",
    "file-damaged": "a file",
    "order-without-variable": "an entry",
    "lower-case-entry": "an entry",
    "store-nearly-full": "the firmware's memory for settings",
    "capsule-waiting": "an update of the firmware",
    "menu-not-shown": "a start menu",
    "starts-unwatched": "a number of starts",
    "restore-not-kept": "an entry, the boot order or a file",
    "unheard": "another system",
    "no-way-left": "a system",
    "unseen": "something that the baseline holds",
}


def add(commands: Any) -> None:
    """Add the command to the command line's subparsers."""
    parser = commands.add_parser(
        "meaning",
        help="what a change or finding means, and what to do about it",
        description="Without a name: all names, with one line each.",
    )
    parser.add_argument("name", nargs="?", metavar="NAME", help="as in the report: entry-missing, say")
    parser.add_argument("--json", action="store_true", help="show it as JSON")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Raises UsageProblem for a name that there isn't."""
    # People paste the whole id of a change: entry-missing:7c1e.
    name = arguments.name.partition(":")[0] if arguments.name else None
    if name is not None and name not in MEANINGS:
        raise UsageProblem(f'There is no change or finding called "{name}".', _hint(name))
    if arguments.json:
        print(json.dumps({"format": "bootwatch/meaning/1", "meanings": _documents(name)}, indent=1))
    elif name:
        print(document(MEANINGS[name]))
    else:
        print(overview())
    return 0


def document(meaning: Meaning) -> str:
    """One meaning as people read it, on 80 columns."""
    parts = [
        ("", f"{meaning.name}: {general(meaning, meaning.headline)}"),
        ("What it means for starting", general(meaning, meaning.consequence)),
        ("What it is", general(meaning, meaning.means)),
        ("What to do", general(meaning, meaning.todo)),
        ("Take care", general(meaning, meaning.caution)),
    ]
    lines: list[str] = []
    for heading, text in parts:
        if text:
            lines += (
                [*wrapped(heading, _WIDTH), *wrapped(text, _WIDTH, "  ")]
                if heading
                else wrapped(text, _WIDTH)
            )
            lines.append("")
    return "\n".join(lines[:-1])


def overview() -> str:
    """All names, each with its headline."""
    lines: list[str] = []
    for heading, meanings in (("Changes", CHANGES), ("Findings", FINDINGS)):
        lines += [*([""] if lines else []), heading]
        for meaning in meanings.values():
            lines += wrapped(general(meaning, meaning.headline), _WIDTH, f"  {meaning.name:<24}")
    return "\n".join(lines)


def general(meaning: Meaning, sentence: str) -> str:
    """The sentence for no machine in particular."""
    noun = _NOUNS.get(meaning.name) or _NOUNS[meaning.name.partition("-")[0]]
    return fill(sentence, noun, "the system") if sentence else ""


def _documents(name: str | None) -> list[dict[str, str]]:
    meanings = [MEANINGS[name]] if name else list(MEANINGS.values())
    kinds = dict.fromkeys(CHANGES, "change") | dict.fromkeys(FINDINGS, "finding")
    return [{"kind": kinds[meaning.name], **asdict(meaning)} for meaning in meanings]


def _hint(name: str) -> str:
    close = difflib.get_close_matches(name, MEANINGS, 1)
    return f"Did you mean {close[0]}?" if close else "All names: bootwatch meaning"
