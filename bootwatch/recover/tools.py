"""Standard tools that write for us: run so that nobody stops them half-way."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Mapping, Sequence

from bootwatch.problem import Problem

# Where tools lie that only root uses, whatever the caller's own path says.
_MORE = "/usr/sbin:/sbin"


def run_tool(
    command: Sequence[str],
    failed: str,
    *,
    lacking: str = "",
    settings: Mapping[str, str] | None = None,
) -> str:
    """What the tool prints. Raises Problem that says what ``failed`` and the first line of why, or, where
    there is no such tool, what is ``lacking``."""
    try:
        done = subprocess.run(
            command,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            errors="replace",
            check=False,
            start_new_session=True,  # who stops us at the keyboard doesn't stop it half-way
            env={**os.environ, "PATH": f"{os.environ.get('PATH', '')}:{_MORE}", **(settings or {})},
        )
    except FileNotFoundError as error:
        raise Problem(lacking or f"{command[0]} is not installed.") from error
    if done.returncode:
        said = (done.stderr or done.stdout).strip().splitlines()
        raise Problem(f"{failed}: {said[0] if said else command[0]}.")
    return done.stdout
