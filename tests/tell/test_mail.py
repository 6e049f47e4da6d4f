"""Mail over real connections: what arrives, and what each refusal comes to."""

from __future__ import annotations

import datetime
import email.utils
import socket
import threading
from email.message import EmailMessage
from pathlib import Path

import pytest

from bootwatch.tell import wording
from bootwatch.tell.letter import Letter
from bootwatch.tell.line import Line
from bootwatch.tell.mail import deliver
from bootwatch.tell.mail_route import Route, parse
from bootwatch.tell.outcome import Outcome, Result
from tests.tell.samples import harmful, hostile_drift, message
from tests.tell.smtp import Handler, Scripted, certificate, free_port, mail_server

PASSWORD = "s3cret:Mot/de passe"
LOGIN = (b"study", PASSWORD.encode())


def _route(port: int, extra: str = "", scheme: str = "mailto", login: str = "") -> Route:
    url = f"{scheme}://{login}127.0.0.1:{port}/?from=study@example.org&to=anna@example.org{extra}"
    return parse(url, "study")[0]


def _text(mail: EmailMessage) -> str:
    return str(mail.get_content()).replace("\r\n", "\n")


def _letter(identity: str = "5-1f") -> Letter:
    sample = message()
    return Letter(identity, wording.subject(sample), wording.body(sample))


def _send(route: Route, letter: Letter | None = None, timeout: float = 5.0) -> Outcome:
    return deliver(letter or _letter(), route, Line(), timeout)


def test_what_arrives_is_what_was_meant() -> None:
    handler = Handler()
    with mail_server(handler) as port:
        assert _send(_route(port, "&name=Study&reply=help@example.org")) == Outcome.delivered()
    (mail,) = handler.mails
    assert handler.senders == ["study@example.org"] and handler.recipients == ["anna@example.org"]
    assert mail["Subject"] == wording.subject(message())
    assert (mail["From"], mail["To"]) == ("Study <study@example.org>", "anna@example.org")
    assert mail["Reply-To"] == "help@example.org"
    assert mail["Auto-Submitted"] == "auto-generated"
    assert mail.get_content_type() == "text/plain" and mail.get_content_charset() == "utf-8"
    assert _text(mail) == wording.body(message())
    sent = email.utils.parsedate_to_datetime(mail["Date"])
    assert abs(datetime.datetime.now(datetime.UTC) - sent) < datetime.timedelta(minutes=1)


def test_a_second_copy_has_the_same_message_id_and_another_message_has_not() -> None:
    handler = Handler()
    with mail_server(handler) as port:
        for identity in ("a", "a", "b"):
            assert _send(_route(port), _letter(identity)).result is Result.DELIVERED
    first, again, other = (mail["Message-ID"] for mail in handler.mails)
    assert first == again != other
    assert first.startswith("<") and first.endswith("@bootwatch.invalid>")


def test_hostile_text_adds_no_header_and_moves_no_cursor() -> None:
    handler = Handler()
    sample = message(hostile_drift())
    letter = Letter("x\r\n", "a\r\nBcc: all@example.org", wording.body(sample))
    with mail_server(handler) as port:
        assert _send(_route(port), letter).result is Result.DELIVERED
    (mail,) = handler.mails
    assert mail["Bcc"] is None and handler.recipients == ["anna@example.org"]
    assert not harmful(_text(mail)) and not harmful(mail["Subject"])
    assert "\nBcc" not in _text(mail)
    assert all(len(line) < 998 for line in mail.as_string().splitlines())


def test_letters_beyond_ascii_arrive() -> None:
    handler = Handler()
    with mail_server(handler) as port:
        letter = Letter("x", "Größe: 大", "Größe 大\n.\n.allein\n")
        assert _send(_route(port, "&name=Stübchen"), letter) == Outcome.delivered()
    (mail,) = handler.mails
    assert mail["Subject"] == "Größe: 大" and _text(mail) == "Größe 大\n.\n.allein\n"
    assert mail["From"] == "Stübchen <study@example.org>"


@pytest.mark.parametrize(
    ("command", "answer", "for_good", "said"),
    [
        ("RCPT", "550 5.1.1 no such user", True, "refuses the recipient: 550 5.1.1 no such user"),
        ("RCPT", "450 4.2.1 mailbox busy", False, "refuses the recipient: 450"),
        ("MAIL", "553 not from you", True, "refuses the sender: 553"),
        ("MAIL", "451 later", False, "refuses the sender: 451"),
        ("DATA", "554 looks like spam", True, "refuses the mail: 554"),
        ("DATA", "452 disk full", False, "refuses the mail: 452"),
    ],
)
def test_the_servers_code_decides(command: str, answer: str, for_good: bool, said: str) -> None:
    handler = Handler(answers={command: answer})
    with mail_server(handler) as port:
        outcome = _send(_route(port))
    assert (outcome.result, outcome.final) == (Result.FAILED, for_good)
    assert said in outcome.why and handler.mails == []


@pytest.mark.parametrize(
    ("answers", "said"),
    [
        ({"connect": "554 not here"}, "554 not here"),
        ({"connect": "421 too busy"}, "421 too busy"),
        ({"connect": None}, "closed the connection"),
        ({"EHLO": None}, "closed the connection"),
        ({"DATA": None}, "closed the connection"),
        ({".": None}, "closed the connection"),
        ({".": "..."}, "doesn't answer in time"),
        ({"connect": "..."}, "doesn't answer in time"),
        ({"connect": "nonsense"}, "an answer that isn't SMTP"),
    ],
)
def test_a_line_that_breaks_is_tried_again(answers: dict[str, str | None], said: str) -> None:
    # On a busy machine an answer takes its time: only where none comes is it waited for in vain.
    timeout = 0.4 if "..." in answers.values() else 30.0
    with Scripted(**answers) as server:
        outcome = _send(_route(server.port), timeout=timeout)
    assert (outcome.result, outcome.final) == (Result.FAILED, False)
    assert said in outcome.why


@pytest.mark.parametrize("farewell", [None, "421 no time", "..."])
def test_a_rude_farewell_does_not_undo_the_delivery(
    farewell: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("bootwatch.tell.mail._QUIT_TIMEOUT", 0.2)
    with Scripted(QUIT=farewell) as server:
        assert _send(_route(server.port)) == Outcome.delivered()
        assert server.mails == 1


def test_nobody_listening_and_no_such_name() -> None:
    outcome = _send(_route(free_port()))
    assert not outcome.final and "can't be reached: Connection refused" in outcome.why
    unknown = parse("mailto://mail.invalid/?from=a@example.org&to=b@example.org", "x")[0]
    outcome = _send(unknown)
    assert not outcome.final and "can't be looked up" in outcome.why


def _login() -> str:
    return "study:s3cret%3AMot%2Fde%20passe@"


def test_log_in_over_starttls(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    handler = Handler(login=LOGIN)
    with mail_server(handler, certificate(tmp_path)) as port:
        monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "ca.pem"))
        assert _send(_route(port, scheme="mailtos", login=_login())) == Outcome.delivered()
    assert handler.logins == [LOGIN] and handler.encrypted == [True]


def test_log_in_over_tls_from_the_start(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    handler = Handler(login=LOGIN)
    with mail_server(handler, certificate(tmp_path), from_the_start=True) as port:
        monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "ca.pem"))
        route = _route(port, "&mode=ssl", scheme="mailtos", login=_login())
        assert _send(route) == Outcome.delivered()
    # The client spoke TLS before anything else, or nothing would have been understood.
    assert handler.logins == [LOGIN] and len(handler.mails) == 1


def test_a_wrong_password_is_final_and_stays_secret(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    handler = Handler(login=(b"study", b"another"))
    with mail_server(handler, certificate(tmp_path)) as port:
        monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "ca.pem"))
        outcome = _send(_route(port, scheme="mailtos", login=_login()))
    assert (outcome.result, outcome.final) == (Result.FAILED, True)
    assert "refuses user or password: 535" in outcome.why
    assert PASSWORD not in repr(outcome) and handler.mails == []


def test_a_password_that_a_server_repeats_is_taken_out() -> None:
    with Scripted(EHLO="250-here\r\n250 AUTH PLAIN", AUTH=f"535 I know no {PASSWORD}") as server:
        outcome = _send(_route(server.port, login=_login()))
    assert "535 I know no [...]" in outcome.why


@pytest.mark.parametrize("mode", ["starttls", "ssl"])
def test_a_certificate_that_nobody_vouches_for_is_not_accepted(tmp_path: Path, mode: str) -> None:
    handler = Handler(login=LOGIN)
    with mail_server(handler, certificate(tmp_path), from_the_start=mode == "ssl") as port:
        outcome = _send(_route(port, f"&mode={mode}", scheme="mailtos", login=_login()))
        assert not outcome.final and "certificate that can't be trusted" in outcome.why
        assert handler.logins == []
        accepted = _send(_route(port, f"&mode={mode}&verify=no", scheme="mailtos", login=_login()))
        assert accepted == Outcome.delivered()


@pytest.mark.parametrize("mode", ["starttls", "ssl"])
def test_a_certificate_for_another_name_is_not_accepted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, mode: str
) -> None:
    handler = Handler(login=LOGIN)
    tls = certificate(tmp_path, "elsewhere.example.org", None)
    with mail_server(handler, tls, from_the_start=mode == "ssl") as port:
        monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "ca.pem"))
        outcome = _send(_route(port, f"&mode={mode}", scheme="mailtos", login=_login()))
    assert not outcome.final and "certificate" in outcome.why and handler.logins == []


def test_nothing_is_sent_in_clear_where_encryption_is_asked_for() -> None:
    with Scripted() as server:
        outcome = _send(_route(server.port, scheme="mailtos", login=_login()))
    assert not outcome.final and "no encryption" in outcome.why
    assert {"AUTH", "MAIL"}.isdisjoint(server.commands)


def test_a_server_without_log_in_is_no_use() -> None:
    with Scripted() as server:
        outcome = _send(_route(server.port, login=_login()))
    assert outcome.final and "no way to log in" in outcome.why


def test_cutting_the_line_ends_a_delivery_at_once() -> None:
    line, outcomes = Line(), []
    with Scripted(**{".": "..."}) as server:
        sending = threading.Thread(
            target=lambda: outcomes.append(deliver(_letter(), _route(server.port), line, 30.0))
        )
        sending.start()
        assert server.got_mail.wait(5)
        line.cut()
        sending.join(5)
    assert [outcome.final for outcome in outcomes] == [False]


def test_no_look_up_of_our_own_name(monkeypatch: pytest.MonkeyPatch) -> None:
    def hangs(name: str = "") -> str:
        raise AssertionError("looked up")

    monkeypatch.setattr(socket, "getfqdn", hangs)
    with Scripted() as server:
        assert _send(_route(server.port)) == Outcome.delivered()
