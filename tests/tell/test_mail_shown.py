"""Mails as people get them: over a real server, in a real mailbox, on a real screen."""

from __future__ import annotations

import os
import re
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from email.message import EmailMessage
from pathlib import Path

import pytest

from bootwatch.addresses import Address
from bootwatch.model.care import Care
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.model.told import Told
from bootwatch.tell import wording
from bootwatch.tell.delivery import Context, deliver, letter
from bootwatch.tell.line import Line
from bootwatch.tell.mail_route import parse
from bootwatch.tell.outcome import Outcome
from bootwatch.tell.part import new_key, open_part, public_key
from tests.tell import kinds
from tests.tell.browser import WIDTHS, Shown, contrast, shown
from tests.tell.samples import hostile_drift, message
from tests.tell.smtp import Handler, mail_server

CARE = Care("Anna Berg", "0123 456 789", "F12", "in the drawer", called={"Quarry": "the office system"})
KEY = new_key()
CONTEXT = Context((Told("Anna", "technician", "2026-11-25T07:13:00Z"),), KEY)
NOBODY = 65534
ALL = (kinds.diverted(), kinds.reminder(), kinds.all_clear(), kinds.stranded(), kinds.sign_of_life())
CONTRAST = 4.5


def _sent(messages: tuple[Message, ...], reader: str = "technician") -> list[EmailMessage]:
    handler = Handler()
    with mail_server(handler) as port:
        url = f"mailto://127.0.0.1:{port}/?from=study@example.org&to=anna@example.org"
        address = Address("Anna", Level.WEAKENED, reader, url, parse(url, "study")[0])
        for one in messages:
            assert deliver(address, one, Line(), CONTEXT) == Outcome.delivered()
    return handler.mails


@pytest.mark.long
def test_every_part_comes_through_a_server_as_it_was() -> None:
    for told, mail in zip(ALL, _sent(ALL), strict=True):
        text, page = mail.get_body(("plain",)), mail.get_body(("html",))
        assert text and page
        assert str(text.get_content()).replace("\r\n", "\n") == wording.body(told)
        assert str(page.get_content()).replace("\r\n", "\n") == letter(told, "technician", CONTEXT).html
        (part,) = mail.iter_attachments()
        opened = open_part(part.get_content())
        assert (opened.key, opened.state["message"]) == (public_key(KEY), told.id)


@pytest.fixture
def mailbox() -> Iterator[Path]:
    """A folder that the mail program's user can reach."""
    with tempfile.TemporaryDirectory(prefix="mailbox-") as folder:
        for name in ("", "new", "cur", "tmp"):
            place = Path(folder) / name
            place.mkdir(exist_ok=True)
            place.chmod(0o777)
        yield Path(folder)


def _asked(mailbox: Path, *commands: str) -> str:
    """What an IMAP server, which has its own reader of mails, says of those in ``mailbox``."""
    user = str(os.getuid() or NOBODY)
    spoken = "".join(f"x{number} {command}\r\n" for number, command in enumerate((*commands, "LOGOUT")))
    settings = (
        f"mail_location=maildir:{mailbox}",
        "first_valid_uid=1",
        f"mail_uid={user}",
        f"mail_gid={user}",
    )
    arguments = [word for one in settings for word in ("-o", one)]
    return subprocess.run(
        ["/usr/lib/dovecot/imap", *arguments],
        input=spoken, capture_output=True, text=True, timeout=60, check=True,
        env={"USER": "anna", "HOME": str(mailbox)},
    ).stdout  # fmt: skip


@pytest.mark.long
def test_another_reader_of_mails_finds_the_same_parts_and_threads(mailbox: Path) -> None:
    other_end = replace(kinds.all_clear(), alert="ffff", id="end of another")
    told = (*ALL[:3], replace(kinds.stranded(), alert="ffff"), other_end, *_signs())
    for number, mail in enumerate(_sent(told), 1):
        file = mailbox / "new" / f"{number}.mail.here"
        file.write_bytes(mail.as_bytes())
        file.chmod(0o644)
    said = _asked(
        mailbox,
        "SELECT INBOX",
        "FETCH 1:7 BODYSTRUCTURE",
        "FETCH 1 BINARY[1.1]",
        "THREAD REFERENCES UTF-8 ALL",
    )
    parts = re.findall(
        r'BODYSTRUCTURE \(\(\("text" "plain" .*?\)\("text" "html" .*? "alternative" .*?\)'
        r'\("application" "json" NIL NIL NIL "base64" .*?"bootwatch-state.json".* "mixed"',
        said,
    )
    assert len(parts) == 7, said
    assert wording.body(told[0]).replace("\n", "\r\n").rstrip() in said.replace("\r\n", "\n").replace(
        "\n", "\r\n"
    )
    (threads,) = re.findall(r"\* THREAD (.*)", said)
    # RFC 5256: two mails under a first one that isn't in the mailbox are in a bracket of their own.
    assert threads.strip() == "(1 (2)(3))(4 5)((6)(7))"


def _signs() -> tuple[Message, Message]:
    return kinds.sign_of_life(), replace(kinds.sign_of_life(), id="a later sign")


def _pages() -> dict[str, str]:
    """All kinds for both readers, one with nothing but hostile and endless names, one without its sheet."""
    made = {
        name: letter(getattr(kinds, name)(), "technician", CONTEXT).html
        for name in ("stranded", "diverted", "weakened", "reminder", "all_clear", "better", "sign_of_life")
    }
    made["owner"] = letter(replace(kinds.diverted(), care=CARE), "owner", CONTEXT).html
    odd = replace(message(hostile_drift()), machine="m" * 200, routes=kinds.QUARRY_NEXT, how="h" * 300)
    made["hostile"] = letter(odd, "technician", CONTEXT).html
    made["without its sheet"] = re.sub(r"<style>.*?</style>", "", made["diverted"])
    return made


@pytest.mark.long
def test_on_the_screen_nothing_is_cut_off_and_everything_can_be_read(tmp_path: Path) -> None:
    pages = _pages()
    light, dark = (shown(pages, tmp_path, dark=dark) for dark in (False, True))
    for one in (*light, *dark):
        assert one.width in WIDTHS and one.content <= one.width, one.name
        assert one.loaded == 0 and len(one.texts) >= 6
        for said, colour, ground, size in one.texts:
            assert contrast(colour, ground) >= CONTRAST, (one.name, said, colour, ground)
            assert size >= 14, (one.name, said)
    assert len(light) == len(dark) == len(pages) * len(WIDTHS)
    for day, night in zip(light, dark, strict=True):
        if day.name == "without its sheet":
            assert day.texts == night.texts
        else:
            assert _ground(day) > 0.8 and _ground(night) < 0.05, day.name


def _ground(one: Shown) -> float:
    """How bright the ground of the largest letters is: contrast with black, from 0 to 1."""
    _, _, ground, _ = max(one.texts, key=lambda text: text[3])
    return (contrast(ground, "rgb(0, 0, 0)") - 1) / 20
