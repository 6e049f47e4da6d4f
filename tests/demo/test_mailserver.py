"""The demo's mail server, spoken to by Python's own client."""

from __future__ import annotations

import smtplib
from email.message import EmailMessage

import pytest

from bootwatch.demo.mailserver import MailServer
from bootwatch.problem import Problem


def mail(subject: str) -> EmailMessage:
    message = EmailMessage()
    message["From"], message["To"], message["Subject"] = "study@example.org", "anna@example.org", subject
    message.set_content("First line\n.\nafter a dot, and ä\n")
    return message


def test_mails_arrive_whole_and_in_order() -> None:
    with MailServer() as server:
        with smtplib.SMTP("127.0.0.1", server.port, timeout=10) as client:
            client.send_message(mail("one"))
            client.send_message(mail("two"))
        first = server.receive()
        assert first["Subject"] == "one"
        assert first.get_content().splitlines() == ["First line", ".", "after a dot, and ä"]
        assert server.receive()["Subject"] == "two"
        assert not server.has_more


def test_no_mail_is_told() -> None:
    with MailServer() as server, pytest.raises(Problem, match="No mail"):
        server.receive(seconds=0.05)


def test_two_at_once() -> None:
    with MailServer() as one, MailServer() as other:
        assert one.port != other.port
