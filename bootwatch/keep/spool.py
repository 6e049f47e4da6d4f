"""Messages that the sender has still to deliver: one JSON file each.

Only the reader writes here; the sender reads. A message's file name begins with its snapshot's number and its
stage, so the oldest comes first whatever the clock said.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from pathlib import Path

from bootwatch.keep.files import read_plain, sync_folder, write_whole
from bootwatch.model.message import FORMAT, Message

_LIMIT = 16 * 1024 * 1024

Report = Callable[[Path, str], None]
"""Is told of each file that can't be used, and why."""


class Spool:
    """The folder that the reader hands messages over in."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        # The sender is started by what happens in the spool: it must find a message and not its beginnings.
        self.unfinished = folder / ".unfinished"

    def put(self, message: Message) -> Path:
        """Hand ``message`` over: once this returns it survives a power cut. Raises OSError.

        Putting a message with the same id again replaces it, so that its receipts go on counting.
        """
        self.folder.mkdir(mode=0o750, parents=True, exist_ok=True)
        path = self.find(message.id) or self.folder / file_name(message.snapshot, message.stage, message.id)
        self.unfinished.mkdir(mode=0o750, exist_ok=True)
        data = json.dumps(message.to_json(), sort_keys=True).encode("ascii")
        write_whole(path, data, beside=self.unfinished)
        return path

    def find(self, own: str) -> Path | None:
        """Where the message with this id lies; None where it doesn't."""
        return next(self.folder.glob(f"*-{_digest(own)}.json"), None)

    def messages(self, report: Report) -> Iterator[tuple[Path, Message]]:
        """Every message, oldest first. A damaged file is skipped and told to ``report``.

        Raises OSError when the folder itself can't be listed; one that isn't there holds none.
        """
        if not self.folder.exists():
            return
        for path in sorted(self.folder.glob("*.json")):
            try:
                yield path, _read(path)
            except FileNotFoundError:
                continue  # The reader removed it meanwhile.
            except (OSError, ValueError) as error:
                report(path, str(error))

    def remove(self, path: Path) -> None:
        """Take one message out; one that is gone already is fine."""
        path.unlink(missing_ok=True)
        sync_folder(self.folder)


def file_name(snapshot: int, stage: int, own: str) -> str:
    """What the file of a message is called: by the snapshot that it was made at, its stage and its id."""
    return f"{snapshot:09d}-{stage:04d}-{_digest(own)}.json"


def receipt_name(path: Path) -> str:
    """What the receipts of the message at ``path`` are called in the sender's folder."""
    return path.name


def _digest(own: str) -> str:
    # The id may hold anything, and a file name may not.
    return hashlib.sha256(own.encode("utf-8", "surrogatepass")).hexdigest()[:16]


def _read(path: Path) -> Message:
    data = read_plain(path, _LIMIT)
    try:
        document = json.loads(data)
        if document["format"] != FORMAT:
            raise ValueError(f"its format is {document['format']!r}, and not {FORMAT}")
        return _checked(Message.from_json(document))
    except (KeyError, TypeError, AttributeError, StopIteration, RecursionError) as error:
        raise ValueError(f"it is not a message ({type(error).__name__})") from error


def _checked(message: Message) -> Message:
    """``message`` itself; raises TypeError where a value isn't of its kind, so that wording it can't fail."""
    words = [message.id, message.machine, message.moment, message.time, message.baseline_saved]
    words += [message.baseline_reason, *message.news, message.alert, message.called, message.opened]
    words += [message.how, message.spoken]
    numbers = [message.snapshot, message.stage]
    for change in message.drift.changes:
        words += [
            change.id,
            change.change,
            change.what,
            change.where,
            change.consequence,
            change.system or "",
            change.accepted,
            *(one.sentence for one in change.evidence),
        ]
        numbers += [number for number in change.between if number is not None]
    for finding in message.drift.findings:
        words += [finding.id, finding.finding, finding.what, finding.where, finding.system or ""]
    for gap in message.drift.gaps:
        words += [gap.name, gap.detail, gap.path or ""]
    for word in words:
        _require(word, str)
    for number in numbers:
        _require(number, int)
    return message


def _require(value: object, kind: type) -> None:
    if not isinstance(value, kind):
        raise TypeError(f"{type(value).__name__} instead of {kind.__name__}")
