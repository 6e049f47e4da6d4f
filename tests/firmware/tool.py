"""Programs of the system that the harness calls: found also in the sbin folders, loud when they fail."""

import os
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

SEARCH = os.pathsep.join([os.environ.get("PATH", ""), "/usr/local/sbin", "/usr/sbin", "/sbin"])


class ToolFailed(Exception):
    """A program is missing or ended with an error."""


def run(command: Sequence[str | Path], *, stdin: bytes | None = None) -> bytes:
    """Runs the program, returns what it wrote; raises ToolFailed with its own words."""
    path = shutil.which(command[0], path=SEARCH)
    if path is None:
        raise ToolFailed(f"{command[0]} is not installed; ./tests/run installs what the tests need")
    environment = {**os.environ, "PATH": SEARCH, "LC_ALL": "C.UTF-8", "MTOOLS_SKIP_CHECK": "1"}
    whole = [path, *command[1:]]
    done = subprocess.run(whole, input=stdin, capture_output=True, env=environment, check=False)
    if done.returncode != 0:
        words = (done.stderr or done.stdout).decode(errors="replace").strip()
        raise ToolFailed(f"{' '.join(map(str, command))}: exit status {done.returncode}: {words}")
    return done.stdout
