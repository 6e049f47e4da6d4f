"""What any user may know about the sending: mistakes in the addresses, and what could not be told."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from bootwatch.keep.files import write_whole
from bootwatch.keep.receipts import Receipt
from bootwatch.places import Places
from bootwatch.tell.layout import wrapped
from bootwatch.tell.phrases import counted, moment
from bootwatch.tell.plain import plain

FORMAT = "bootwatch/send/1"

_MODE = 0o644
_LINE = 78
_MOST_LINES = 3
# One failed attempt is nothing to bother anybody with who logs in; the sender tries again by itself.
_ATTEMPTS = 5


@dataclass(frozen=True)
class Untold:
    """A message that one address did not get, for good or until now."""

    message: str
    receipt: Receipt


def publish(places: Places, mistakes: Iterable[str], untold: Iterable[Untold]) -> bool:
    """Write ``state.json`` and ``motd`` below ``<run>/send``; whether the mistakes are others than before.

    Nothing where the root has no /run. Raises OSError when they can't be written.
    """
    if places.run is None:
        return True
    folder = places.run / "send"
    folder.mkdir(mode=0o755, parents=True, exist_ok=True)
    mistakes, untold = [plain(one, 500) for one in mistakes], list(untold)
    document = {"format": FORMAT, "mistakes": mistakes, "untold": [_shown(one) for one in untold]}
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
        names = ", ".join(dict.fromkeys(receipt.name for receipt in stuck))
        if stuck:
            lines = [
                f"bootwatch: could not tell {plain(names, 60)} of changes since {moment(stuck[0].first_try)}"
            ]
            lines += [f"  {stuck[-1].why}"]
    return "".join(plain(line, _LINE) + "\n" for line in lines)


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
