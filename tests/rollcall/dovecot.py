"""A real mail server on loopback, with one user, as an ordinary process."""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.tell.smtp import certificate, free_port

USER, PASSWORD = "technician", "mill pond 7"
PROGRAM = shutil.which("dovecot", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/sbin")
# The mails' owner: anybody but root, as whom this server reads none.
_OWNER = 65534
_SETTINGS = """
protocols = imap
listen = 127.0.0.1
base_dir = {folder}/run
state_dir = {folder}/state
log_path = {folder}/log
ssl = yes
ssl_cert = <{folder}/server.pem
ssl_key = <{folder}/server.pem
disable_plaintext_auth = no
auth_failure_delay = 0
mail_location = maildir:{mails}
first_valid_uid = 1
passdb {{
  driver = passwd-file
  args = {folder}/users
}}
userdb {{
  driver = static
  args = uid={owner} gid={owner} home={folder}
}}
service anvil {{
  unix_listener anvil-auth-penalty {{
    mode = 0
  }}
}}
service imap-login {{
  inet_listener imap {{
    port = {plain}
  }}
  inet_listener imaps {{
    port = {encrypted}
  }}
}}
"""


@dataclass(frozen=True)
class Server:
    """Its ports, the certificate to trust, and the mails' folder."""

    plain: int
    encrypted: int
    certificate: Path
    mails: Path


def version() -> str:
    if not PROGRAM or os.geteuid() != 0:
        return ""
    return subprocess.run([PROGRAM, "--version"], text=True, capture_output=True, check=True).stdout


@contextlib.contextmanager
def running(mails: Path) -> Iterator[Server]:
    """Serves a copy of the Maildir ``mails`` as INBOX. Its folder has a short name: sockets lie in it."""
    folder = Path(tempfile.mkdtemp(prefix="bw-"))
    folder.chmod(0o755)
    try:
        certificate(folder)
        copy = Path(shutil.copytree(mails, folder / "mails"))
        for path in (copy, *copy.rglob("*")):
            os.chown(path, _OWNER, _OWNER)
        server = Server(free_port(), free_port(), folder / "ca.pem", copy)
        (folder / "users").write_text(f"{USER}:{{PLAIN}}{PASSWORD}\n")
        (folder / "settings").write_text(
            _SETTINGS.format(
                folder=folder,
                mails=copy,
                owner=_OWNER,
                plain=server.plain,
                encrypted=server.encrypted,
            )
        )
        yield from _served(folder, server)
    finally:
        shutil.rmtree(folder)


def _served(folder: Path, server: Server) -> Iterator[Server]:
    process = subprocess.Popen([str(PROGRAM), "-F", "-c", str(folder / "settings")])
    try:
        _wait(process, server.plain, folder)
        yield server
    finally:
        process.terminate()
        process.wait(timeout=20)


def _wait(process: subprocess.Popen[bytes], port: int, folder: Path) -> None:
    for _ in range(200):
        with contextlib.suppress(ConnectionRefusedError), socket.create_connection(("127.0.0.1", port)):
            return
        assert process.poll() is None, (folder / "log").read_text()
        time.sleep(0.05)
    raise AssertionError((folder / "log").read_text())
