"""A machine root with a spool and addresses, for what the send unit runs."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from bootwatch.keep.receipts import Receipts
from bootwatch.keep.spool import Spool
from bootwatch.places import Places


class Machine:
    """A machine root with a spool, for one test."""

    def __init__(self, root: Path) -> None:
        self.places = Places.below(root)
        (root / "run").mkdir()
        self.places.addresses.parent.mkdir(parents=True)
        self.addresses("[]")
        self.spool = Spool(self.places.spool)

    def addresses(self, text: str, mode: int = 0o600) -> None:
        self.places.addresses.write_text(f"addresses: {text}\n")
        self.places.addresses.chmod(mode)

    def motd(self) -> str:
        return (self.places.root / "run/bootwatch/send/motd").read_text()

    def state(self) -> dict[str, Any]:
        document: dict[str, Any] = json.loads(
            (self.places.root / "run/bootwatch/send/state.json").read_text()
        )
        return document

    def outcomes(self) -> list[tuple[str, str, bool]]:
        receipts = Receipts(self.places.receipts)
        names = sorted(path.name for path in self.places.receipts.glob("*.json"))
        return [
            (one.name, one.outcome, one.final)
            for name in names
            for one in receipts.read(name).receipts.values()
        ]

    def everything(self) -> str:
        """All that was written, but for the addresses themselves."""
        files = [
            path
            for path in self.places.root.rglob("*")
            if path.is_file() and path != self.places.addresses and path.name != "key"
        ]
        return "".join(path.read_bytes().decode("latin-1") for path in files)


def to(port: int, name: str = "Anna", **more: str) -> str:
    """One address, as it stands in addresses.yaml."""
    extra = "".join(f", {key}: {value}" for key, value in more.items())
    who = name.lower()
    return (
        f"{{name: {name}, to: 'mailto://127.0.0.1:{port}/?from=pc@example.org&to={who}@example.org'{extra}}}"
    )
