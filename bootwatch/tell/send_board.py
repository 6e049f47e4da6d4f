"""What any user may know about the sending: mistakes in the addresses, what was not told, and who was."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from bootwatch.keep.files import write_whole
from bootwatch.keep.receipts import Receipt
from bootwatch.model.told import Told
from bootwatch.places import Places
from bootwatch.tell.layout import wrapped
from bootwatch.tell.phrases import counted, moment
from bootwatch.tell.plain import plain

FORMAT = "bootwatch/send/1"

_MODE = 0o644
_LINE = 78
_MOST_LINES = 3
_MOST_NAMES = 3
# One failed attempt is nothing to bother anybody with who logs in; the sender tries again by itself.
_ATTEMPTS = 5


@dataclass(frozen=True)
class Untold:
    """A message that one address did not get, for good or until now."""

    message: str
    receipt: Receipt


def publish(
    places: Places, mistakes: Iterable[str], untold: Iterable[Untold], told: Iterable[tuple[str, Told]] = ()
) -> bool:
    """Write ``state.json`` and ``motd`` below ``<run>/send``; whether the mistakes are others than before.

    ``told`` holds alerts' uids, each with one who knows of it. Nothing where the root has no /run. Raises
    OSError when they can't be written.
    """
    if places.run is None:
        return True
    folder = places.run / "send"
    folder.mkdir(mode=0o755, parents=True, exist_ok=True)
    mistakes, untold = [plain(one, 500) for one in mistakes], list(untold)
    document = {
        "format": FORMAT,
        "mistakes": mistakes,
        "untold": [_shown(one) for one in untold],
        "told": [{"alert": alert, **one.to_json()} for alert, one in told],
    }
    former = _mistakes(folder / "state.json")
    write_whole(folder / "state.json", (json.dumps(document, indent=1) + "\n").encode("ascii"), _MODE)
    write_whole(folder / "motd", log_in_lines(mistakes, untold).encode(), _MODE)
    return former != mistakes


def log_in_lines(mistakes: list[str], untold: list[Untold]) -> str:
    """A few lines for whoever logs in, while somebody who should be told isn't."""
    lines = []
    if mistakes:
        said = wrapped("bootwatch: nobody is told of changes: " + mistakes[0], _LINE, "", "  ")
        more = f"and {counted(len(mistakes) - 1, 'more mistake')}; " if len(mistakes) > 1 else ""
        lines = [*said[:_MOST_LINES], f"  {more}mend it, then: sudo systemctl start bootwatch-send"]
    else:
        stuck = [one.receipt for one in untold if one.receipt.final or one.receipt.attempts >= _ATTEMPTS]
        if stuck:
            lines = _of_stuck(stuck)
    return "".join(plain(line, _LINE) + "\n" for line in lines)


def _of_stuck(stuck: list[Receipt]) -> list[str]:
    """Who can't be told, why the one that was given up (else the first) can't, and what to do."""
    names = list(dict.fromkeys(plain(receipt.name, 30) for receipt in stuck))
    since = min(receipt.first_try for receipt in stuck)
    shown = next((receipt for receipt in reversed(stuck) if receipt.final), stuck[-1])
    whom = ", ".join(names[:_MOST_NAMES])
    if len(names) > _MOST_NAMES:
        whom += f" and {len(names) - _MOST_NAMES} more"
    whose = f"{plain(shown.name, 30)}: " if len(names) > 1 else ""
    again = "it is tried again by itself; to try the address: sudo bootwatch alerts test"
    given_up = "given up; mend the address, then try it: sudo bootwatch alerts test"
    return [
        *wrapped(f"bootwatch: could not tell {whom} of changes since {moment(since)}", _LINE, "", "  "),
        *wrapped(whose + shown.why, _LINE, "  ", "  ")[:_MOST_LINES],
        f"  {given_up if shown.final else again}",
    ]


def _shown(untold: Untold) -> dict[str, object]:
    receipt = untold.receipt
    return {
        "message": untold.message,
        "address": receipt.name,
        "why": receipt.why,
        "attempts": receipt.attempts,
        "first_try": receipt.first_try,
        "for_good": receipt.final,
    }


def _mistakes(file: Path) -> object:
    try:
        return json.loads(file.read_bytes())["mistakes"]
    except (OSError, ValueError, KeyError, TypeError):
        return []
