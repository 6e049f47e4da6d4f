"""The text behind a notification's button: all that the owner is told, and what a technician needs."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

from bootwatch.keep.files import write_whole
from bootwatch.tell import owner_desktop
from bootwatch.tell.desktop_board import Board
from bootwatch.tell.layout import wrapped
from bootwatch.tell.report import Facts, drift_report

OPENER = "xdg-open"
_WIDTH = 78
_PATIENCE = 20


def can_open() -> bool:
    """Whether texts can be opened here."""
    return bool(shutil.which(OPENER) and os.environ.get("XDG_RUNTIME_DIR"))


def open_text(board: Board) -> None:
    """Write the text below the user's own folder in /run, and open it with what the user opens texts with.

    Raises OSError or subprocess.SubprocessError when that fails.
    """
    folder = Path(os.environ["XDG_RUNTIME_DIR"]) / "bootwatch"
    folder.mkdir(mode=0o700, exist_ok=True)
    path = folder / "alert.txt"
    write_whole(path, whole_text(board).encode("utf-8", "replace"), 0o600)
    _open(path)


def whole_text(board: Board) -> str:
    """ "" while nothing was read."""
    message = board.message
    if message is None:
        return ""
    text = owner_desktop.of_alert(message, board.told)
    lines = [text.title, "", *text.body.splitlines()]
    said = owner_desktop.telling(message.care, board.refused, has_mistakes=board.has_mistakes)
    for part in said or ():
        lines += ["", *wrapped(part, _WIDTH)]
    lines += ["", "-" * _WIDTH, *wrapped(owner_desktop.for_others(message.care), _WIDTH), ""]
    facts = Facts(
        message.machine, message.time, message.baseline_saved, message.baseline_reason, message.snapshot
    )
    return "\n".join(lines) + "\n" + drift_report(message.drift, facts, _WIDTH)


def _open(path: Path) -> None:
    """What opens is no child of ours: it would live in our sandbox, and end with us."""
    by_manager = ["systemd-run", "--user", "--quiet", "--collect", "--", OPENER, str(path)]
    by_itself = ["setsid", "--fork", OPENER, str(path)]
    is_unit = "INVOCATION_ID" in os.environ and shutil.which("systemd-run")
    for command in (by_manager, by_itself) if is_unit else (by_itself,):
        done = subprocess.run(command, stdin=subprocess.DEVNULL, check=False, timeout=_PATIENCE)
        if done.returncode == 0:
            return
