"""addresses.yaml: whom to tell, checked. It holds passwords: none of them ever gets into a message."""

from __future__ import annotations

import hashlib
import os
import socket
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from bootwatch.checked_yaml import Settings, Value
from bootwatch.model.level import Level
from bootwatch.places import Places
from bootwatch.problem import UsageProblem
from bootwatch.tell import mail_route
from bootwatch.tell.mail_route import Route

READERS = ("technician", "owner")
CREDENTIAL = "addresses.yaml"

_OTHERS = 0o066
# For these the host part is a host; in other schemes it can be a token.
_WITH_HOST = frozenset(("json", "jsons", "xml", "xmls", "form", "forms"))

CheckUrl = Callable[[str], str | None]
"""Says what is wrong with a URL that isn't mail's, or None."""


@dataclass(frozen=True)
class Address:
    """One recipient. ``name`` is what messages call it; ``to`` may hold a password and is never shown.
    ``sign_of_life``: whether it gets those, where the machine's settings ask for any."""

    name: str
    least: Level
    reader: str
    to: str = field(repr=False)
    route: Route | None = field(default=None, repr=False)
    sign_of_life: bool = False

    @property
    def identity(self) -> str:
        """What tells it from others, secret: receipts keep a keyed digest of it only."""
        return self.route.identity if self.route else self.to

    @property
    def settings_digest(self) -> bytes:
        """Changes whenever anything of the address changes, a password included. Secret as well."""
        return hashlib.sha256(f"{self.to}\0{self.identity}".encode("utf-8", "surrogatepass")).digest()


def load(
    places: Places,
    environment: Mapping[str, str] = os.environ,
    check: CheckUrl = lambda url: None,
    given: bytes | None = None,
) -> list[Address]:
    """The addresses of ``places``; none where the file isn't there.

    In a service they come from systemd's credential, elsewhere from whoever could open the file (``given``);
    the rights of the file itself are looked at all the same. ``check`` looks at URLs that aren't mail's.
    Raises UsageProblem that names every mistake.
    """
    file = places.addresses
    _refuse_open(file)
    data = _data(file, _credential(places, environment)) if given is None else given
    settings = Settings(file, secret=True)
    fields = settings.fields(settings.read(data), ("addresses",))
    found = _Found(settings, check)
    for item in settings.items(fields.get("addresses")):
        found.add(item)
    settings.finish()
    return found.addresses


def _credential(places: Places, environment: Mapping[str, str]) -> Path | None:
    folder = environment.get("CREDENTIALS_DIRECTORY")
    if not folder or not places.is_this_machine:
        return None
    file = Path(folder) / CREDENTIAL
    return file if file.exists() else None


def _refuse_open(file: Path) -> None:
    try:
        mode = file.stat().st_mode
    except OSError:
        return  # Absent, or in a folder that is closed to us: then it is closed to others as well.
    if mode & _OTHERS:
        raise UsageProblem(
            f"{file}: others than its owner can read or write this file (mode {mode & 0o777:04o}), and "
            "passwords may stand in it, so it is not used.",
            f"Run: sudo chmod 600 {file} (and change the passwords if somebody may have read them)",
        )


def _data(file: Path, credential: Path | None) -> bytes:
    try:
        return (credential or file).read_bytes()
    except FileNotFoundError:
        return b""
    except OSError as error:
        raise UsageProblem(f"{file} can't be read: {error.strerror}.") from error


class _Found:
    """The addresses of one file so far."""

    def __init__(self, settings: Settings, check: CheckUrl) -> None:
        self.addresses: list[Address] = []
        self._settings = settings
        self._check = check
        self._lines: dict[str, int] = {}
        name = socket.gethostname()
        self._host = (
            name if name.isascii() and name.replace("-", "").replace(".", "").isalnum() else "localhost"
        )

    def add(self, item: Value) -> None:
        settings = self._settings
        fields = settings.fields(item, ("to", "least", "name", "reader", "sign_of_life"), needed=("to",))
        to = settings.text(fields.get("to"))
        least = settings.choice(fields.get("least"), "level", [level.value for level in Level])
        reader = settings.choice(fields.get("reader"), "reader", READERS)
        name = settings.text(fields.get("name"))
        sign = settings.flag(fields.get("sign_of_life"))
        if to is None or "to" not in fields:
            return
        for route in self._routes(to, fields["to"]):
            shown = name or _shown(to, route, item.line)
            reader = reader or READERS[0]
            # Mailboxes that somebody, or a roll call, reads; nobody wants a telephone to ring for it.
            wanted = reader == READERS[0] and route is not None if sign is None else sign
            address = Address(shown, Level(least or Level.WEAKENED), reader, to, route, wanted)
            self._keep(address, fields["to"])

    def _routes(self, to: str, value: Value) -> list[Route] | list[None]:
        scheme, separator, _ = to.partition("://")
        if not separator or not scheme.isalnum():
            self._settings.wrong(value, "is no address: it begins with a scheme, as in mailtos://")
            return []
        if scheme.lower() in mail_route.SCHEMES:
            try:
                return list(mail_route.parse(to, self._host))
            except ValueError as error:
                self._settings.wrong(value, str(error))
                return []
        trouble = self._check(to)
        if trouble:
            self._settings.wrong(value, trouble)
        return [None]

    def _keep(self, address: Address, value: Value) -> None:
        first = self._lines.setdefault(address.identity, value.line)
        if len(self._lines) == len(self.addresses):
            self._settings.wrong(value, f"the same address stands in line {first} already")
            return
        self.addresses.append(address)


def _shown(to: str, route: Route | None, line: int) -> str:
    """What an address without a name is called: nothing of it that may be a secret."""
    scheme, _, rest = to.partition("://")
    if route:
        return f"{scheme}://{route.host}"
    host = rest.partition("/")[0].rpartition("@")[2]
    plain_host = host and all(letter.isalnum() or letter in ".-:[]" for letter in host)
    if scheme.lower() in _WITH_HOST and plain_host and "@" not in rest.partition("/")[2]:
        return f"{scheme}://{host}"
    return f"{scheme}:// in line {line}"
