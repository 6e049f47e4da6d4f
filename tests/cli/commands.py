"""Running commands on a machine root as a person would."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

import pytest

from bootwatch.cli.main import main
from tests.roots import FERNWICK_LOADER, Root


@dataclass(frozen=True)
class Said:
    """What a command printed and how it ended."""

    status: int
    out: str
    err: str

    @property
    def document(self) -> Any:
        return json.loads(self.out)


class Commands:
    """bootwatch on one machine root."""

    def __init__(self, root: Root, capture: pytest.CaptureFixture[str]) -> None:
        self.root, self._capture = root, capture

    def __call__(self, *arguments: str) -> Said:
        self._capture.readouterr()
        status = main(["--root", str(self.root.folder), *arguments])
        out, err = self._capture.readouterr()
        assert "Traceback" not in err
        return Said(status, out, err)

    def save(self) -> Said:
        return self("baseline", "save", "--reason", "both systems start", "--yes")


def quarry_updates(bootwatch: Commands) -> None:
    root = bootwatch.root
    root.variable_file("Boot0000").unlink()
    root.order(1, 2)
    root.remove("vda", 1, FERNWICK_LOADER)
    root.start_again()
