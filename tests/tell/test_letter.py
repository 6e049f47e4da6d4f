"""What a mail is made of: plain part, HTML, what machines read; and which mails belong together."""

from __future__ import annotations

import datetime
import email
import email.policy
from dataclasses import replace
from email.message import EmailMessage

import pytest

from bootwatch.model.alert import Kind
from bootwatch.model.care import Care
from bootwatch.model.change import Drift
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.tell import wording
from bootwatch.tell.delivery import Context, letter
from bootwatch.tell.letter import compose
from bootwatch.tell.mail_route import parse
from bootwatch.tell.part import new_key, open_part, public_key
from tests.tell import kinds
from tests.tell.samples import ENTRY_MISSING, HOSTILE, harmful, hostile_drift, message

ROUTE = parse("mailto://127.0.0.1/?from=study@example.org&to=anna@example.org", "study")[0]
NOW = datetime.datetime(2026, 11, 25, 7, 13, tzinfo=datetime.UTC)


def _sent(told: Message, reader: str = "technician", context: Context | None = None) -> EmailMessage:
    """As it arrives, read by the standard library."""
    data = compose(letter(told, reader, context or Context()), ROUTE, NOW).as_bytes()
    assert data.isascii() and max(map(len, data.splitlines())) <= 250
    found = email.message_from_bytes(data, policy=email.policy.default)
    assert isinstance(found, EmailMessage) and not found.defects
    for leaf in found.walk():
        if not leaf.is_multipart():  # RFC 2045 §6.7 and §6.8
            assert max(map(len, str(leaf.get_payload()).splitlines())) <= 76
    return found


def _kinds(mail: EmailMessage) -> list[str]:
    return [one.get_content_type() for one in mail.walk()]


def _text(mail: EmailMessage, kind: str) -> str:
    body = mail.get_body((kind,))
    assert body
    return str(body.get_content()).replace("\r\n", "\n")


def test_the_plain_part_comes_first_and_machines_read_an_attachment() -> None:
    key = new_key()
    mail = _sent(kinds.diverted(), context=Context(key=key))
    assert _kinds(mail) == [
        "multipart/mixed",
        "multipart/alternative",
        "text/plain",
        "text/html",
        "application/json",
    ]
    assert _text(mail, "plain") == wording.body(kinds.diverted())
    (part,) = mail.iter_attachments()
    assert part.get_filename() == "bootwatch-state.json"
    opened = open_part(part.get_content())
    assert opened.key == public_key(key)
    assert opened.state == kinds.STATE | {
        "kind": "news",
        "alert": "a1b2c3d4e5f60718",
        "called": "a1",
        "stage": 1,
        "opened": "2026-11-25T07:12:05Z",
        "message": kinds.diverted().id,
    }


def test_a_sign_of_life_is_of_no_alert() -> None:
    (part,) = _sent(kinds.sign_of_life()).iter_attachments()
    opened = open_part(part.get_content())
    assert (opened.state["kind"], opened.state["alert"], opened.key) == ("sign of life", None, None)


def test_an_owner_gets_text_and_html_and_nothing_for_machines() -> None:
    told = replace(kinds.diverted(), care=Care(name="Anna", phone="0123", menu_key="F12"))
    mail = _sent(told, "owner")
    assert _kinds(mail) == ["multipart/alternative", "text/plain", "text/html"]
    words = " ".join(_text(mail, "plain").split())
    assert "F12" in words and "F12" in _text(mail, "html")
    assert "bootwatch-state" not in mail.as_string()


@pytest.mark.parametrize("state", [{}, {"machine": float("nan")}, {"machine": "x" * 100_000}])
def test_words_go_out_where_the_state_can_not(state: dict[str, object]) -> None:
    mail = _sent(replace(kinds.diverted(), state=state))
    assert list(mail.iter_attachments()) == []
    assert _text(mail, "plain") == wording.body(kinds.diverted())


@pytest.mark.parametrize("routes", [{"next_start": 5, "systems": "x"}, {"systems": [{"removable": False}]}])
def test_an_owner_is_told_to_call_where_another_version_says_differently_what_starts(
    routes: dict[str, object],
) -> None:
    body = letter(replace(kinds.diverted(), routes=routes), "owner").body
    assert body.startswith(letter(replace(kinds.diverted(), routes={}, state={}), "owner").body[:60])
    assert "leave" in body.lower() and "call" in body


def test_the_mails_of_one_alert_are_one_thread() -> None:
    first, later, end = (_sent(one) for one in (kinds.diverted(), kinds.reminder(), kinds.all_clear()))
    root = first["Message-ID"]
    assert first["References"] is None and first["In-Reply-To"] is None
    for mail in (later, end):
        assert mail["References"] == mail["In-Reply-To"] == root
    assert len({root, later["Message-ID"], end["Message-ID"]}) == 3
    assert _sent(kinds.diverted())["Message-ID"] == root
    other = _sent(replace(kinds.diverted(), alert="ffff"))
    assert other["Message-ID"] != root
    owners = _sent(kinds.reminder(), "owner")
    assert owners["References"] not in (None, root)
    assert owners["References"] == _sent(kinds.diverted(), "owner")["Message-ID"]


def test_a_machine_that_is_renamed_stays_in_its_thread() -> None:
    first = _sent(kinds.diverted())
    later = _sent(replace(kinds.diverted(), machine="attic", stage=2, id="another"))
    assert later["In-Reply-To"] == later["References"] == first["Message-ID"]


def test_a_long_name_leaves_an_owners_subject_room_for_what_it_says() -> None:
    mail = _sent(replace(kinds.diverted(), machine="long " * 60), "owner")
    assert mail["Subject"].endswith(_sent(kinds.diverted(), "owner")["Subject"].partition(": ")[2])


def test_signs_of_life_of_a_machine_are_a_thread_of_their_own() -> None:
    one, two = _sent(kinds.sign_of_life()), _sent(replace(kinds.sign_of_life(), id="another"))
    assert one["References"] == two["References"] != _sent(kinds.reminder())["References"]
    assert len({one["Message-ID"], two["Message-ID"], one["References"]}) == 3
    other = _sent(replace(kinds.sign_of_life(), state=kinds.STATE | {"id": "77"}))
    assert other["References"] != one["References"]


def test_a_message_of_an_older_version_stands_alone() -> None:
    mail = _sent(message())
    assert mail["References"] is None and _kinds(mail)[0] == "multipart/alternative"
    assert mail["Message-ID"] != _sent(message(identity="another"))["Message-ID"]


@pytest.mark.parametrize("level", [None, *Level])
@pytest.mark.parametrize("kind", Kind)
def test_every_kind_has_its_page_at_every_level(kind: Kind, level: Level | None) -> None:
    one = replace(ENTRY_MISSING, level=level or Level.ROUTINE)
    told = replace(
        message(Drift((one,), (), ()), news=(one.id,) if level else ()), kind=kind, still_open=level,
        state={"starts": 5},
    )  # fmt: skip
    page = letter(told, "technician").html
    assert page.count("<h1 ") == 1
    assert level in (None, Level.ROUTINE) or f">{level.value}" in page or f" {level.value}<" in page


@pytest.mark.parametrize("kind", Kind)
@pytest.mark.parametrize("reader", ["technician", "owner"])
def test_hostile_names_do_no_harm_in_any_part(kind: Kind, reader: str) -> None:
    odd = f'</title></style><script>alert("&")</script><img src=x onerror=y>{HOSTILE}'
    told = replace(
        kinds.diverted(), kind=kind, machine=odd, drift=hostile_drift(), how=odd, called=odd, opened=odd,
        spoken=odd, care=Care(odd, odd, odd, odd, odd, {"Quarry": odd}),
    )  # fmt: skip
    told = replace(told, news=tuple(one.id for one in told.drift.changes))
    mail = _sent(told, reader)
    assert mail["Bcc"] is None and not harmful(mail["Subject"])
    page = _text(mail, "html")
    assert not harmful(page) and not harmful(_text(mail, "plain"))
    assert page.count("<script") == page.count("<img") == 0
    assert (page.count("</title>"), page.count("</style>")) == (1, 1)
