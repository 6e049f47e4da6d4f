"""The key by which a machine's mails are proven, as its administrator meets it."""

from __future__ import annotations

import stat
from pathlib import Path

from bootwatch.tell.part import open_part, seal
from tests.cli.commands import Commands


def file_of(bootwatch: Commands) -> Path:
    file = bootwatch.root.folder / "etc/bootwatch/machine.key"
    file.parent.mkdir(parents=True, exist_ok=True)
    return file


def test_it_is_made_once_and_kept(bootwatch: Commands) -> None:
    file = file_of(bootwatch)
    assert bootwatch("machine-key").status == 3
    made = bootwatch("machine-key", "--make", "--json")
    assert made.status == 0
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    private = file.read_bytes()
    key = open_part(seal({}, private)).key
    assert key
    assert made.document == {"format": "bootwatch/machine-key/1", "key": key}
    again = bootwatch("machine-key", "--make")
    assert again.out == f"This machine's mails are signed; its public key: {key}\n"
    assert bootwatch("machine-key").out == again.out
    assert file.read_bytes() == private
    assert b"PRIVATE" not in again.out.encode()


def test_a_damaged_one_is_not_replaced_unasked(bootwatch: Commands) -> None:
    file_of(bootwatch).write_text("none\n")
    said = bootwatch("machine-key", "--make")
    assert said.status == 3
    assert "holds no key that can be used" in said.err
    assert file_of(bootwatch).read_text() == "none\n"
