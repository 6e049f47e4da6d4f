"""bootwatch demo: the whole main job on a simulated machine."""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path
from typing import Any

from bootwatch.problem import UsageProblem


def add(commands: Any) -> None:
    command = commands.add_parser("demo", help="show all of it on a simulated machine; no rights needed")
    command.add_argument("--keep", metavar="DIR", help="build the machine in DIR and leave it there")
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Tell the story; 0 when it ended as it should. Raises Problem when a tool or library is missing."""
    if arguments.keep:
        folder = _empty(Path(arguments.keep))
        _tell(folder)
        print(f"The machine stays in {folder}. To look around, with the losses back:")
        print(f"  bootwatch --root {folder} restore --undo --yes")
        print(f"  bootwatch --root {folder} drift")
        return 0
    with tempfile.TemporaryDirectory(prefix="bootwatch-demo-") as scratch:
        _tell(Path(scratch) / "study")
    return 0


def _tell(folder: Path) -> None:
    from bootwatch.cli.main import main
    from bootwatch.demo.story import Story

    Story(folder, main).tell()


def _empty(folder: Path) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if any(folder.iterdir()):
            raise UsageProblem(f"{folder} is not empty.", hint="Name a new folder for the demo's machine.")
    except OSError as error:
        raise UsageProblem(
            f"{folder} can't be used for the demo's machine: {error.strerror}.", hint="Name another folder."
        ) from error
    return folder.resolve()
