"""Mails on a server (RFC 3501): the folder is examined and never selected, mails are peeked at."""

from __future__ import annotations

import base64
import imaplib
import ipaddress
import re
import ssl
import urllib.parse
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from bootwatch.problem import MachineProblem, UsageProblem
from bootwatch.rollcall.letter import MOST_BYTES, MOST_LETTERS, TOO_LARGE, Letter
from bootwatch.tell.plain import plain

SCHEMES = ("imaps", "imap")
TIMEOUT = 30.0
"""Seconds that one answer may take."""

_PORTS = {"imaps": 993, "imap": 143}
_AT_ONCE = 20
_SHAPE = "imaps://USER@HOST/FOLDER"
_SIZE = re.compile(
    rb"\bUID (\d{1,10})\b.*\bRFC822\.SIZE (\d{1,12})\b|\bRFC822\.SIZE (\d{1,12})\b.*\bUID (\d{1,10})\b"
)


@dataclass(frozen=True)
class Server:
    """A folder of somebody's mail on a server."""

    scheme: str
    user: str
    host: str
    port: int
    folder: str

    @classmethod
    def parse(cls, url: str) -> Server:
        """Raises UsageProblem, which never repeats the URL: a password may stand in it."""
        try:
            parts = urllib.parse.urlsplit(url)
            port = parts.port or _PORTS[parts.scheme]
        except (ValueError, KeyError):
            raise UsageProblem(f"That is no address of a mail folder: it looks like {_SHAPE}.") from None
        if parts.password is not None:
            raise UsageProblem(
                "A password doesn't belong into the address, where others can see it.",
                "Leave it out to be asked for it, or put it into a file: --password-file FILE",
            )
        user, folder = (urllib.parse.unquote(text) for text in (parts.username or "", parts.path[1:]))
        if not user or not parts.hostname or not (user + folder).isprintable():
            raise UsageProblem(f"That is no address of a mail folder: it looks like {_SHAPE}.")
        if parts.scheme == "imap" and not _is_here(parts.hostname):
            raise UsageProblem(
                "Without encryption a password goes to this machine itself only.", f"Use {_SHAPE}."
            )
        return cls(parts.scheme, user, parts.hostname, port, folder or "INBOX")


def _is_here(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


@dataclass(frozen=True)
class Mailbox:
    """Reads one folder."""

    server: Server
    password: Callable[[], str] = field(repr=False)

    def letters(self) -> Iterator[Letter]:
        """Each mail. Raises MachineProblem for what server and network do."""
        where = plain(f"{self.server.host}:{self.server.port}")
        password = self.password()
        try:
            connection = self._connect()
        except (OSError, imaplib.IMAP4.error) as error:
            raise MachineProblem(f"The mail server {where} can't be reached: {_why(error)}.") from error
        try:
            yield from self._read(connection, password, where)
        except (OSError, imaplib.IMAP4.error) as error:
            raise MachineProblem(f"The mail server {where} broke off: {_why(error)}.") from error
        finally:
            _leave(connection)

    def _connect(self) -> imaplib.IMAP4:
        server = self.server
        if server.scheme == "imap":
            return imaplib.IMAP4(server.host, server.port, timeout=TIMEOUT)
        context = ssl.create_default_context()
        return imaplib.IMAP4_SSL(server.host, server.port, ssl_context=context, timeout=TIMEOUT)

    def _read(self, connection: imaplib.IMAP4, password: str, where: str) -> Iterator[Letter]:
        try:
            connection.login(_quoted(self.server.user), password)
        except imaplib.IMAP4.abort:
            raise
        except (imaplib.IMAP4.error, UnicodeEncodeError) as error:
            raise MachineProblem(f"The mail server {where} refuses user or password.") from error
        answer, _ = connection.select(_quoted(_modified_utf7(self.server.folder)), readonly=True)
        if answer != "OK":
            raise MachineProblem(
                f"The mail server {where} has no folder {plain(self.server.folder)} to read."
            )
        yield from _letters(connection)


def _letters(connection: imaplib.IMAP4) -> Iterator[Letter]:
    """By their lasting numbers, so that what another client deletes meanwhile shifts nothing."""
    readable: list[bytes] = []
    told, answers = connection.uid("FETCH", "1:*", "(RFC822.SIZE)")
    if told != "OK":
        raise imaplib.IMAP4.error("it doesn't list the folder's mails")
    for answer in answers[:MOST_LETTERS]:
        found = _SIZE.search(answer if isinstance(answer, bytes) else b"")
        if not found:
            continue
        uid, size = (found[1], found[2]) if found[1] else (found[4], found[3])
        if int(size) > MOST_BYTES:
            yield Letter(b"", TOO_LARGE)
        else:
            readable.append(uid)
    for first in range(0, len(readable), _AT_ONCE):
        uids = readable[first : first + _AT_ONCE]
        wanted = f"(BODY.PEEK[]<0.{MOST_BYTES + 1}>)"
        _, answers = connection.uid("FETCH", b",".join(uids).decode("ascii"), wanted)
        given = [answer[1] for answer in answers if isinstance(answer, tuple)]
        yield from map(Letter.of, given)
        yield from (Letter(b"", "not given by the server") for _ in uids[len(given) :])


def _leave(connection: imaplib.IMAP4) -> None:
    """Without CLOSE, which would be the word for deleting what is marked."""
    try:
        connection.logout()
    except (OSError, imaplib.IMAP4.error):
        connection.shutdown()


def _why(error: Exception) -> str:
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"its certificate can't be trusted ({error.verify_message})"
    if isinstance(error, TimeoutError):
        return "it doesn't answer in time"
    if isinstance(error, OSError) and error.strerror:
        return plain(error.strerror)
    return plain(str(error))


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _modified_utf7(text: str) -> str:
    """RFC 3501 §5.1.3."""
    pieces = re.findall(r"[\x20-\x7e]+|[^\x20-\x7e]+", text)
    return "".join(
        piece.replace("&", "&-") if piece.isascii() else f"&{_base64(piece.encode('utf-16-be'))}-"
        for piece in pieces
    )


def _base64(data: bytes) -> str:
    return base64.b64encode(data, b"+,").decode("ascii").rstrip("=")
