"""A real mail server, from which mails are read and on which nothing is changed."""

from __future__ import annotations

import imaplib
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from bootwatch.cli.main import main
from bootwatch.model.level import Level
from bootwatch.rollcall.imap import _modified_utf7
from bootwatch.rollcall.letter import MOST_BYTES
from bootwatch.tell.part import public_key
from tests.cli.commands import Said
from tests.rollcall import dovecot
from tests.rollcall.dovecot import PASSWORD, USER, Server
from tests.rollcall.mails import BEGIN, DAY, KEYS, maildir, signed, signs

pytestmark = pytest.mark.long
NOW = (BEGIN + 71 * DAY).isoformat()
MAILS = [
    *signs(),
    *signs("kitchen"),
    signed("kitchen", 90, 70.5, Level.DIVERTED),
    b"Subject: lunch?\n\nAt one.\n",
]


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    if not dovecot.version().startswith("2.3"):
        pytest.skip("takes root, and version 2.3 of a mail server")
    folder = tmp_path_factory.mktemp("mails")
    maildir(folder / "box", [*MAILS, b"Subject: large\n\n" + b"x\n" * MOST_BYTES])
    maildir(folder / "box/.Räume &c", signs())
    (folder / "box/.Räume &c").rename(folder / "box" / f".{_modified_utf7('Räume &c')}")
    with dovecot.running(folder / "box") as running:
        yield running


def look(server: Server) -> tuple[list[bytes | None], dict[str, bytes]]:
    """What another client is told of the folders, and what lies in them."""
    with imaplib.IMAP4("127.0.0.1", server.plain) as client:
        client.login(USER, PASSWORD)
        told = [
            client.status(name, "(MESSAGES UNSEEN RECENT UIDNEXT)")[1][0]
            for name in ("INBOX", '"R&AOQ-ume &-c"')
        ]
        client.select("INBOX", readonly=True)
        told += client.fetch("1:*", "(UID FLAGS)")[1]
        client.unselect()
    files = [
        path for path in server.mails.rglob("*") if path.parent.name in ("new", "cur") and path.is_file()
    ]
    return told, {str(path): path.read_bytes() for path in files}


def rollcall(
    capsys: pytest.CaptureFixture[str], folder: Path, source: str, password: str = PASSWORD, *more: str
) -> Said:
    known, secret = folder / "known", folder / "secret"
    known.write_text("".join(f"{public_key(KEYS[name])} {name}\n" for name in ("study", "kitchen")))
    secret.write_text(password)
    secret.chmod(0o600)
    capsys.readouterr()
    options = ["--known", str(known), "--password-file", str(secret), "--now", NOW, *more]
    status = main(["rollcall", source, *options])
    return Said(status, *capsys.readouterr())


def test_it_reads_and_leaves_everything_as_it_is(
    server: Server, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    before = look(server)
    assert len(before[1]) == len(MAILS) + 1 + 11
    source = f"imap://{USER}@127.0.0.1:{server.plain}/INBOX"
    said = rollcall(capsys, tmp_path, source, PASSWORD, "--json")
    found = json.loads(said.out)
    assert {one["machine"]: one["condition"] for one in found["machines"]} == {
        "study": "well",
        "kitchen": "alert",
    }
    assert (found["mails"], found["states"]) == (len(MAILS) + 1, 23)
    assert found["passed_over"] == {"mail larger than any of ours": 1}
    assert look(server) == before
    monkeypatch.setenv("SSL_CERT_FILE", str(server.certificate))
    source = f"imaps://{USER}@localhost:{server.encrypted}/R%C3%A4ume%20%26c"
    said = rollcall(capsys, tmp_path, source)
    assert "study    well" in said.out
    assert "From 11 mails, 11 with a state" in said.out
    assert look(server) == before


def test_what_goes_wrong_is_said(server: Server, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plain = f"imap://{USER}@127.0.0.1:{server.plain}"
    wrong = rollcall(capsys, tmp_path, f"{plain}/INBOX", "geheim")
    assert (wrong.status, wrong.out) == (3, "")
    assert "refuses user or password" in wrong.err
    assert "geheim" not in wrong.err
    absent = rollcall(capsys, tmp_path, f"{plain}/absent%22%20x")
    assert absent.status == 3
    assert 'has no folder absent" x to read' in absent.err
    stranger = rollcall(capsys, tmp_path, f"imaps://{USER}@localhost:{server.encrypted}")
    assert stranger.status == 3
    assert "its certificate can't be trusted" in stranger.err
    assert rollcall(capsys, tmp_path, f"imaps://{USER}@127.0.0.1:{server.plain}").status == 3
