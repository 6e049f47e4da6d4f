"""A mail as it goes over the line (RFC 5322, RFC 2045 to 2047): ASCII in every line, whatever it says."""

from __future__ import annotations

import datetime
import email.policy
import email.utils
import hashlib
from dataclasses import dataclass
from email.headerregistry import Address
from email.message import EmailMessage

from bootwatch import __version__
from bootwatch.tell import part
from bootwatch.tell.mail_route import Route
from bootwatch.tell.plain import plain

# Longer lines than usual (998 are allowed): folding would begin a long subject on a line of its own.
_HEADERS = email.policy.SMTP.clone(cte_type="7bit", max_line_length=250)
# Quoted-printable allows 76 characters a line (RFC 2045 §6.7).
_BODY = _HEADERS.clone(max_line_length=76)


@dataclass(frozen=True)
class Letter:
    """What is mailed: the same ``identity`` gives the same Message-ID, so that a second copy can be told.

    ``html`` says the same as ``body``; "" for none. ``part`` is for machines (tell/part.py); b"" for none.
    ``thread`` is the identity of the first letter of those that belong together, its own for that letter; ""
    for a letter that stands alone.
    """

    identity: str
    subject: str
    body: str
    html: str = ""
    part: bytes = b""
    thread: str = ""


def compose(letter: Letter, route: Route, now: datetime.datetime) -> EmailMessage:
    """``letter`` for the recipient of ``route``: text, the same as HTML, and what machines read."""
    mail = EmailMessage(policy=_HEADERS)
    mail["Message-ID"] = _message_id(letter.identity)
    if letter.thread not in ("", letter.identity):
        mail["In-Reply-To"] = mail["References"] = _message_id(letter.thread)
    mail["Date"] = email.utils.format_datetime(now)
    mail["From"] = Address(plain(route.sender_name, 60), addr_spec=route.sender)
    mail["To"] = Address(addr_spec=route.recipient)
    if route.reply_to:
        mail["Reply-To"] = Address(addr_spec=route.reply_to)
    mail["Subject"] = plain(letter.subject, 200)
    # RFC 3834: no holiday answers.
    mail["Auto-Submitted"] = "auto-generated"
    mail["User-Agent"] = f"bootwatch/{__version__}"
    mail.policy = _BODY
    _fill(mail, letter)
    mail.policy = _HEADERS
    return mail


def _fill(mail: EmailMessage, letter: Letter) -> None:
    """The least first: of several ways to say the same, the last that can be is shown (RFC 2046 §5.1.4)."""
    mail.set_content(
        letter.body, charset="utf-8", cte="7bit" if letter.body.isascii() else "quoted-printable"
    )
    if letter.html:
        mail.add_alternative(letter.html, subtype="html", charset="utf-8", cte="quoted-printable")
    if letter.part:
        kind, _, subtype = part.MEDIA_TYPE.partition("/")
        mail.add_attachment(letter.part, maintype=kind, subtype=subtype, filename=part.NAME)


def _message_id(identity: str) -> str:
    """Without the machine's name: a machine that gets another one stays in its threads."""
    digest = hashlib.sha256(identity.encode("utf-8", "surrogatepass")).hexdigest()[:32]
    return f"<{digest}@bootwatch.invalid>"
