"""What must hold of everything that bootwatch says of a machine, whatever the machine is."""

from __future__ import annotations

import json
import re
import unicodedata
from pathlib import Path
from typing import Any

from bootwatch.keep.spool import Spool
from bootwatch.model.alert import Kind
from bootwatch.model.message import Message
from bootwatch.tell.delivery import letter
from bootwatch.tell.journal import alert_fields, alert_text
from tests.roots import FERNWICK_ESP, QUARRY_ESP, TARN_PART

_HARMFUL = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
_SAMPLE = re.compile(r'(# .*|[a-z_]+(\{([a-z_]+="([^"\\\n]|\\["\\n])*",?)*\})? [0-9.e+-]+|)')
_VOLUMES = {f"gpt:{FERNWICK_ESP}": "vda", f"gpt:{QUARRY_ESP}": "vdb", f"gpt:{TARN_PART}": "vdb"}


class Finding(Exception):
    """Something that must not be."""


def hold(true: bool, what: str) -> None:
    if not true:
        raise Finding(what)


def harmless(text: str, where: str) -> None:
    """No character in it moves a cursor, hides, reorders, or breaks a line where nobody broke it."""
    for character in text:
        if character != "\n" and unicodedata.category(character) in _HARMFUL:
            raise Finding(f"{where} holds {character!r}: {text[:200]!r}")


def short(text: str, where: str) -> None:
    """No hostile text makes it endless: people read it."""
    longest = max(map(len, text.splitlines()), default=0)
    hold(len(text) < 300_000, f"{where} has {len(text)} characters")
    hold(longest < 5_000, f"{where} has a line of {longest}")


def board(run: Path) -> None:
    """What any user may read below /run."""
    for path in run.iterdir() if run.is_dir() else ():
        if path.is_dir():
            continue
        text = path.read_text("utf-8")
        harmless(text, path.name)
        if path.suffix == ".json":
            json.loads(text)
        elif path.suffix == ".prom":
            for line in text.splitlines():
                hold(_SAMPLE.fullmatch(line) is not None, f"no sample: {line!r}")
        else:
            hold(len(text.splitlines()) < 20, f"{path.name}: {text!r}")


def messages(spool: Path) -> None:
    """Everything that is spooled can be read again and be told, to both sorts of readers and the journal."""
    troubles: list[str] = []
    if not spool.is_dir():
        return
    for _, message in Spool(spool).messages(lambda path, why: troubles.append(f"{path}: {why}")):
        _message(message)
    hold(not troubles, f"spooled and can't be read: {troubles}")


def _message(message: Message) -> None:
    for reader in ("technician", "owner"):
        told = letter(message, reader)
        for text in (told.subject, told.body, told.html or ""):
            harmless(text, f"the {reader}'s letter")
        short(told.body, f"the {reader}'s letter")
        hold(len(told.html or "") < 300_000, f"the {reader}'s page has {len(told.html or '')} characters")
        hold("\n" not in told.subject, "a subject of two lines")
        for tag in ("<script", "<img"):
            hold(tag not in (told.html or ""), f"the {reader}'s page holds {tag}")
    if message.kind is Kind.SIGN_OF_LIFE:
        return
    harmless(alert_text(message), "the journal")
    for name, value in alert_fields(message):
        harmless(value, f"the journal's {name}")


def nothing_hidden_is_missing(
    document: dict[str, Any], blind: set[tuple[str, str]], touched: set[str]
) -> None:
    """What nobody could read is called neither missing nor emptied, by what was done to the machine and by
    the gaps that are told beside it."""
    for change in document["changes"]:
        if not change["change"].endswith(("-missing", "-emptied")):
            continue
        scope = change["scope"]
        disk = _VOLUMES.get(str(scope.get("volume")))
        hold(
            ("disk", str(disk)) not in blind or disk in touched,
            f"{change['id']} on {disk}, which can't be read: {change['what']}",
        )
        hold(
            ("variables", scope.get("variables")) not in blind,
            f"{change['id']}, whose variable can't be read",
        )
        for gap in document["gaps"]:
            hold(not _covers(gap["scope"], scope), f"{change['id']} lies in the gap {gap}")


def _covers(gap: dict[str, Any], scope: dict[str, Any]) -> bool:
    if "variables" in gap:
        return gap["variables"] in ("*", scope.get("variables"))
    if "volume" not in gap or gap["volume"] != scope.get("volume"):
        return False
    folder = str(gap["path"] or "").rstrip("\\").upper()
    file = str(scope.get("path") or "").upper()
    return not folder or file == folder or file.startswith(folder + "\\")
