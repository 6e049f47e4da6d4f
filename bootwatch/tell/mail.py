"""Mail, over SMTP (RFC 5321): the server's reply codes decide between trying again and giving up."""

from __future__ import annotations

import contextlib
import datetime
import re
import smtplib
import socket
import ssl
from collections.abc import Iterator

from bootwatch.tell import secrets
from bootwatch.tell.letter import Letter, compose
from bootwatch.tell.line import Line
from bootwatch.tell.mail_route import Route
from bootwatch.tell.outcome import Outcome
from bootwatch.tell.plain import plain

TIMEOUT = 20.0
"""Seconds that one step of the conversation may take."""

_QUIT_TIMEOUT = 5.0
# What smtplib can do. A password only goes over an encrypted line, unless a person said that it needn't.
_MECHANISMS = ("PLAIN", "LOGIN", "CRAM-MD5")


def deliver(letter: Letter, route: Route, line: Line, timeout: float = TIMEOUT) -> Outcome:
    """Hand ``letter`` to the server of ``route``. Never raises for what a server or network does."""
    now = datetime.datetime.now(datetime.UTC)
    data = compose(letter, route, now).as_bytes()
    try:
        with _connection(route, line, timeout) as connection:
            _greet(connection, route)
            _log_in(connection, route)
            connection.sendmail(route.sender, [route.recipient], data)
            _leave(connection)
    except _Refused as refused:
        return _failed(refused.why, route, for_good=refused.for_good)
    except smtplib.SMTPRecipientsRefused as error:
        code, reply = next(iter(error.recipients.values()))
        return _by_code("refuses the recipient", code, reply, route)
    except smtplib.SMTPSenderRefused as error:
        return _by_code("refuses the sender", error.smtp_code, error.smtp_error, route)
    except smtplib.SMTPResponseException as error:
        return _by_code("refuses the mail", error.smtp_code, error.smtp_error, route)
    except smtplib.SMTPServerDisconnected as error:
        return _failed(_broken_off(error), route, for_good=False)
    except (OSError, smtplib.SMTPException) as error:
        return _failed(_network(error), route, for_good=False)
    return Outcome.delivered()


class _Refused(Exception):
    """The conversation ended in a way that was understood."""

    def __init__(self, why: str, *, for_good: bool) -> None:
        super().__init__(why)
        self.why = why
        self.for_good = for_good


@contextlib.contextmanager
def _connection(route: Route, line: Line, timeout: float) -> Iterator[smtplib.SMTP]:
    context = _tls(route)
    own_name = _own_name()
    connection: smtplib.SMTP = (
        smtplib.SMTP_SSL(timeout=timeout, local_hostname=own_name, context=context)
        if route.mode == "ssl"
        else smtplib.SMTP(timeout=timeout, local_hostname=own_name)
    )
    line.use(connection)
    try:
        yield connection
    finally:
        connection.close()


def _greet(connection: smtplib.SMTP, route: Route) -> None:
    # smtplib checks certificates against this name, which only a constructor that connects at once would set.
    connection._host = route.host  # type: ignore[attr-defined]
    code, reply = connection.connect(route.host, route.port)
    if code != 220:
        # Not for good, whatever the code: in another network another machine may have answered.
        raise _Refused(f"doesn't take mail from here: {_reply(code, reply)}", for_good=False)
    connection.ehlo_or_helo_if_needed()
    if route.mode == "starttls":
        if not connection.has_extn("starttls"):
            raise _Refused("offers no encryption (STARTTLS), and none is sent without", for_good=False)
        connection.starttls(context=_tls(route))
        connection.ehlo()


def _log_in(connection: smtplib.SMTP, route: Route) -> None:
    if not route.user:
        return
    offered = connection.esmtp_features.get("auth", "").upper().split()
    mechanism = next((name for name in _MECHANISMS if name in offered), None)
    if mechanism is None:
        raise _Refused("offers no way to log in that is known here", for_good=True)
    connection.user, connection.password = route.user, route.password
    try:
        # One way only: trying a wrong password in every way that is offered can lock an account.
        connection.auth(mechanism, getattr(connection, "auth_" + mechanism.lower().replace("-", "_")))
    except smtplib.SMTPAuthenticationError as error:
        for_good = 500 <= error.smtp_code < 600
        what = "refuses user or password" if for_good else "can't check user and password now"
        why = f"{what}: {_reply(error.smtp_code, error.smtp_error)}"
        raise _Refused(why, for_good=for_good) from error


def _leave(connection: smtplib.SMTP) -> None:
    """The server has the mail: however the farewell goes, that stays so."""
    with contextlib.suppress(OSError, smtplib.SMTPException):
        if connection.sock:
            connection.sock.settimeout(_QUIT_TIMEOUT)
        connection.quit()


def _tls(route: Route) -> ssl.SSLContext:
    context = ssl.create_default_context()
    if not route.verify:
        context.check_hostname = False
        context.verify_mode = ssl.CERT_NONE
    return context


def _own_name() -> str:
    """Named without a look-up, which may hang without a network; RFC 5321 §4.1.4 allows the literal."""
    name = socket.gethostname()
    return name if "." in name and re.fullmatch(r"[A-Za-z0-9.-]+", name) else "[127.0.0.1]"


def _by_code(what: str, code: int, reply: object, route: Route) -> Outcome:
    """4xx: try again later; 5xx: for good (RFC 5321 §4.2.1). Anything else is no answer."""
    return _failed(f"{what}: {_reply(code, reply)}", route, for_good=500 <= code < 600)


def _reply(code: int, reply: object) -> str:
    text = reply.decode("utf-8", "replace") if isinstance(reply, bytes) else str(reply)
    words = " ".join(text.split())
    # -1 is smtplib's for a line that begins with no number.
    return f"{code} {words}".strip() if code > 0 else "an answer that isn't SMTP"


def _broken_off(error: smtplib.SMTPServerDisconnected) -> str:
    # smtplib makes one of the other.
    if isinstance(error.__context__, TimeoutError):
        return "doesn't answer in time"
    return "closed the connection before it said that it has the mail"


def _network(error: Exception) -> str:
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"shows a certificate that can't be trusted ({error.verify_message})"
    if isinstance(error, socket.gaierror):
        return "has a name that can't be looked up now"
    if isinstance(error, TimeoutError):
        return "doesn't answer in time"
    if isinstance(error, OSError) and error.strerror:
        return f"can't be reached: {error.strerror}"
    return f"can't be talked to ({type(error).__name__})"


def _failed(why: str, route: Route, *, for_good: bool) -> Outcome:
    hidden = secrets.without(f"{route.host}:{route.port} {why}", secrets.of_login(route.user, route.password))
    return Outcome.failed(plain(hidden, 300), for_good=for_good)
