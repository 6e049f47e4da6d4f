"""Mail servers on loopback: a real one that can be told to refuse, and a scripted one that can break off."""

from __future__ import annotations

import asyncio
import contextlib
import datetime
import email
import email.policy
import ipaddress
import socket
import ssl
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from email.message import EmailMessage
from pathlib import Path
from types import TracebackType
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, LoginPassword
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID


@dataclass
class Handler:
    """Takes mail, or answers as told: ``{"RCPT": "550 no such user"}``, or for one recipient alone
    ``{"RCPT a@b.org": ..}``. The steps are connect, AUTH (in place of a refusal), MAIL, RCPT, DATA and "."
    (the end). None for an answer cuts the line, "..." says nothing; ``{"taken": None}`` cuts it when the
    mail is kept, before that is said.
    """

    answers: dict[str, str | None] = field(default_factory=dict)
    mails: list[EmailMessage] = field(default_factory=list)
    senders: list[str] = field(default_factory=list)
    recipients: list[str] = field(default_factory=list)
    logins: list[tuple[bytes, bytes]] = field(default_factory=list)
    encrypted: list[bool] = field(default_factory=list)
    login: tuple[bytes, bytes] | None = None

    async def handle_MAIL(  # noqa: N802
        self, server: Any, session: Any, envelope: Any, address: str, options: list[str]
    ) -> str:
        if "MAIL" in self.answers:
            return await _answer(server, self.answers["MAIL"])
        envelope.mail_from = address
        return "250 OK"

    async def handle_RCPT(  # noqa: N802
        self, server: Any, session: Any, envelope: Any, address: str, options: list[str]
    ) -> str:
        for step in (f"RCPT {address}", "RCPT"):
            if step in self.answers:
                return await _answer(server, self.answers[step])
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802
        if "." in self.answers:
            return await _answer(server, self.answers["."])
        mail = email.message_from_bytes(envelope.content, policy=email.policy.default)
        assert isinstance(mail, EmailMessage)
        self.mails.append(mail)
        self.senders.append(envelope.mail_from)
        self.recipients += envelope.rcpt_tos
        self.encrypted.append(session.ssl is not None)
        return await _answer(server, self.answers.get("taken", "250 OK"))

    def authenticate(self, server: Any, session: Any, envelope: Any, mechanism: str, data: Any) -> AuthResult:
        assert isinstance(data, LoginPassword)
        self.logins.append((data.login, data.password))
        return AuthResult(success=(data.login, data.password) == self.login, handled=False)


async def _answer(server: Any, answer: str | None) -> str:
    if answer == "...":
        # Whoever waits for us hangs up some time, which ends this.
        await asyncio.sleep(3600)
    if answer is None:
        server.transport.abort()
    return answer or "421 cut"


class _Server(SMTP):
    """The steps that the library leaves no choice about."""

    greeted = False

    async def push(self, status: Any) -> None:
        answers = self.event_handler.answers
        step = "AUTH" if str(status).startswith("535") else "" if self.greeted else "connect"
        self.greeted = True
        await super().push(await _answer(self, answers[step]) if step in answers else status)

    async def smtp_DATA(self, arg: str) -> None:  # noqa: N802
        if "DATA" in self.event_handler.answers:
            await super().push(await _answer(self, self.event_handler.answers["DATA"]))
        else:
            await super().smtp_DATA(arg)


class _Controller(Controller):
    def factory(self) -> Any:
        return _Server(self.handler, **self.SMTP_kwargs)


@contextlib.contextmanager
def mail_server(
    handler: Handler,
    tls: ssl.SSLContext | None = None,
    from_the_start: bool = False,
    port: int | None = None,
) -> Iterator[int]:
    """A real server; gives its port. With ``tls`` it offers STARTTLS, or speaks TLS ``from_the_start``."""
    # Named: looking up this computer's own name can take long without a network.
    options: dict[str, Any] = {"server_hostname": "mail.invalid"}
    if handler.login:
        by_starttls = tls is not None and not from_the_start
        options |= {"authenticator": handler.authenticate}
        options |= {"auth_required": by_starttls, "auth_require_tls": by_starttls}
    if tls:
        options |= {"ssl_context": tls} if from_the_start else {"tls_context": tls}
    controller = _Controller(
        handler, hostname="127.0.0.1", port=port or free_port(), ready_timeout=10, **options
    )
    controller.start()
    try:
        yield controller.port
    finally:
        controller.stop()


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


class Scripted:
    """A server that answers each command as told; an answer of None cuts the line, "..." says nothing."""

    def __init__(self, **answers: str | None) -> None:
        usual: dict[str, str | None] = {
            "connect": "220 here",
            "EHLO": "250 here",
            "MAIL": "250 OK",
            "RCPT": "250 OK",
            "DATA": "354 go on",
            ".": "250 taken",
            "QUIT": "221 bye",
        }
        self.answers = usual | answers
        self.commands: list[str] = []
        self.mails = 0
        self.got_mail = threading.Event()
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._server.getsockname()[1]

    def __enter__(self) -> Scripted:
        threading.Thread(target=self._serve, daemon=True).start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        # Closing alone would leave the thread in accept().
        with contextlib.suppress(OSError):
            self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()

    def _serve(self) -> None:
        while True:
            try:
                line, _ = self._server.accept()
            except OSError:
                return
            threading.Thread(target=self._converse, args=(line,), daemon=True).start()

    def _converse(self, line: socket.socket) -> None:
        with contextlib.suppress(OSError), line, line.makefile("rb") as reading:
            if not self._answer(line, "connect"):
                return
            in_data = False
            for raw in reading:
                word = raw.strip().decode("latin-1")
                if in_data and word != ".":
                    continue
                command = "." if in_data else word.split(" ")[0].upper()
                in_data = command == "DATA" and (self.answers["DATA"] or "").startswith("3")
                self.commands.append(command)
                if command == ".":
                    self.mails += 1
                    self.got_mail.set()
                if not self._answer(line, command):
                    return

    def _answer(self, line: socket.socket, command: str) -> bool:
        answer = self.answers.get(command, "250 OK")
        if answer is None:
            return False
        if answer != "...":
            line.sendall(f"{answer}\r\n".encode())
        return True


def certificate(folder: Path, name: str = "localhost", address: str | None = "127.0.0.1") -> ssl.SSLContext:
    """A server's TLS, with a certificate of its own for ``name`` that is kept in ``folder/ca.pem`` too."""
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    now = datetime.datetime.now(datetime.UTC)
    names: list[x509.GeneralName] = [x509.DNSName(name)]
    names += [x509.IPAddress(ipaddress.ip_address(address))] if address else []
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - datetime.timedelta(days=1))
        .not_valid_after(now + datetime.timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .sign(key, hashes.SHA256())
    )
    pem = made.public_bytes(serialization.Encoding.PEM)
    (folder / "ca.pem").write_bytes(pem)
    private = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    (folder / "server.pem").write_bytes(pem + private)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(folder / "server.pem")
    return context
