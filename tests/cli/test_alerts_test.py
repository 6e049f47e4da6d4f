"""bootwatch alerts test."""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Sequence
from pathlib import Path

import pytest

from bootwatch.cli import alerts_test
from bootwatch.places import Places
from bootwatch.problem import UsageProblem
from tests.tell.smtp import Handler, mail_server


def _arguments(places: Places, *words: str) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    alerts_test.add(parser.add_subparsers())
    arguments = parser.parse_args(["test", *words])
    arguments.places = places
    return arguments


def _written(root: Path, port: int) -> Places:
    places = Places.below(root)
    places.addresses.parent.mkdir(parents=True)
    to = f"mailto://127.0.0.1:{port}/?from=pc@b.org&to="
    places.addresses.write_text(
        f"addresses: [{{name: Anna, to: '{to}anna@b.org'}}, {{name: Ben, to: '{to}ben@b.org'}}]\n"
    )
    places.addresses.chmod(0o600)
    return places


def test_each_address_in_a_line_with_why(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    handler = Handler(answers={"RCPT ben@b.org": "550 no such user"})
    with mail_server(handler) as port:
        places = _written(tmp_path, port)
        assert alerts_test.run(_arguments(places)) == 1
        assert capsys.readouterr().out.splitlines() == [
            "Anna: delivered",
            f"Ben: failed: 127.0.0.1:{port} refuses the recipient: 550 no such user",
        ]
        assert alerts_test.run(_arguments(places, "--json", "Anna")) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["format"] == "bootwatch/alerts-test/1"
    assert document["addresses"] == [
        {"address": "Anna", "reader": "technician", "outcome": "delivered", "why": ""},
        {"address": "Ben", "reader": "technician", "outcome": "skipped", "why": "not asked for"},
    ]


@pytest.mark.skipif(os.geteuid() != 0, reason="is about root")
def test_root_hands_the_addresses_to_the_senders_user(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given: list[bytes] = []
    places = Places(Path("/"), tmp_path / "state", tmp_path / "bootwatch.yaml")
    places.addresses.write_bytes(b"addresses: []\n")

    def as_sender(arguments: Sequence[str], descriptors: Sequence[int] = ()) -> int:
        assert arguments[:4] == ["--config", str(places.config), "alerts", "test"]
        assert arguments[4:] == ["--json", "--given", str(descriptors[0]), "--", "Anna"]
        given.append(os.read(descriptors[0], 100))
        return 7

    monkeypatch.setattr("bootwatch.service.ask.as_sender", as_sender)
    assert alerts_test.run(_arguments(places, "--json", "Anna")) == 7
    assert given == [b"addresses: []\n"]


def test_somebody_else_is_told_to_use_sudo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    arguments = _arguments(_written(tmp_path, 9))
    monkeypatch.setattr("os.access", lambda *given: False)
    with pytest.raises(UsageProblem) as caught:
        alerts_test.run(arguments)
    assert "sudo" in caught.value.hint
