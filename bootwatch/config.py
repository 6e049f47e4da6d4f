"""bootwatch.yaml: the settings, checked. No secret is in it, and it may be absent."""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from bootwatch import checked_json
from bootwatch.carried import archive
from bootwatch.checked_yaml import Settings, Value
from bootwatch.judge.acceptance import Rules
from bootwatch.judge.meanings import CHANGES
from bootwatch.judge.naming import Naming
from bootwatch.judge.weigh import Rule, Weights
from bootwatch.model.care import ENGLISH, UNKNOWN, Care
from bootwatch.model.level import Level
from bootwatch.model.path import fold
from bootwatch.problem import UsageProblem

_VOLUME = re.compile("(gpt|mbr|fat):", re.IGNORECASE)
_IDENTITIES = (
    re.compile("gpt:[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}"),
    re.compile("mbr:[0-9a-f]{8}-[0-9a-f]{2}", re.IGNORECASE),
    re.compile("fat:[0-9a-f]{4}-[0-9a-f]{4}", re.IGNORECASE),
)
_IDENTITY_FORMS = "gpt:PARTUUID, mbr:SIGNATURE-NUMBER or fat:SERIAL, as bootwatch shows it"
_KEYS = (
    *("machine", "systems", "levels", "accept"),
    *("looked_after_by", "menu_key", "stick", "language", "sign_of_life", "kit_to"),
    *("recovery_key_at", "keep_snapshots"),
)
LANGUAGES = (ENGLISH, "de")
"""Those that texts for owners can be had in."""
_MOST_DAYS = 366
_LEAST_KEPT, _MOST_KEPT = 500, 1_000_000


@dataclass(frozen=True)
class SystemSetting:
    """One system: what people call it, what else is part of it, whether to leave it out of what is shown, and
    what the machine's owner calls it ("" for the same).

    ``join`` holds labels of entries, names of loaders' folders, folders (``\\EFI\\fernwick``), volumes by
    their identity (``gpt:GUID``), and folders on one volume (``gpt:GUID\\EFI\\fernwick``).
    """

    name: str
    join: tuple[str, ...] = ()
    hide: bool = False
    called: str = ""


@dataclass(frozen=True)
class Config:
    """All settings; the defaults are those of a file that isn't there. ``machine`` None: the host name.
    ``accept`` is the highest level up to which each system's own updates are expected and told to nobody.
    ``care`` is for the owner's texts. ``sign_of_life``: after how many days a sign of life is sent, None for
    never. ``kit_to``: a folder in which a recovery kit is kept up to date. ``recovery_key_at`` says where the
    disk encryption's key is kept; that stands on the sheets alone, and is in no message. ``keep_snapshots``:
    how many the history keeps, counted and not dated, since a clock may be wrong."""

    machine: str | None = None
    systems: tuple[SystemSetting, ...] = ()
    levels: tuple[Rule, ...] = ()
    accept: Level = Level.CHANGED
    care: Care = UNKNOWN
    sign_of_life: int | None = None
    kit_to: Path | None = None
    recovery_key_at: str = ""
    keep_snapshots: int = 10_000

    @classmethod
    def load(cls, path: Path) -> Config:
        """Read ``path``. Raises UsageProblem that names every mistake with file, line and key.

        The program in a recovery kit has no library that reads it: it says so and goes by none.
        """
        try:
            data = path.read_bytes()
        except FileNotFoundError:
            return cls()
        except OSError as error:
            raise _unreadable(path, error) from error
        settings = Settings(path)
        try:
            return _checked(settings, settings.read(data))
        except ModuleNotFoundError:
            if archive() is None:
                raise
            _say_passed_over(path)
            return cls()

    @classmethod
    def carried(cls, path: Path, data: bytes) -> Config:
        """The same of what `carried_settings` made; ``path`` names it to people. Raises SettingsProblem."""
        settings = Settings(path)
        return _checked(settings, checked_json.read(settings, data))

    @property
    def weights(self) -> Weights:
        """The levels of changes, as these settings move them; what happens to a hidden system is routine."""
        hidden = (Rule(Level.ROUTINE, system=system.name) for system in self.systems if system.hide)
        return Weights((*self.levels, *hidden))

    @property
    def rules(self) -> Rules:
        """What is expected, and so told to nobody."""
        return Rules(self.accept, Weights(self.levels))

    @property
    def system_names(self) -> Naming:
        """What systems are called, what is one system, what is hidden."""
        names = {given: system.name for system in self.systems for given in (system.name, *system.join)}
        return Naming.of(names, (system.name for system in self.systems if system.hide))


@cache
def _say_passed_over(path: Path) -> None:
    """Once in a command."""
    print(f"The settings in {path} are passed over: Python's yaml isn't here.", file=sys.stderr)


def carried_settings(path: Path) -> bytes:
    """The settings in ``path``, checked, in a form that is read without a library; those of no file where
    there is none. Raises UsageProblem as `Config.load` does."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        data = b""
    except OSError as error:
        raise _unreadable(path, error) from error
    settings = Settings(path)
    top = settings.read(data)
    _checked(settings, top)
    return checked_json.written(top)


def _unreadable(path: Path, error: OSError) -> UsageProblem:
    return UsageProblem(f"{path} can't be read: {error.strerror}.")


def _checked(settings: Settings, top: Value | None) -> Config:
    config = _config(settings, top)
    settings.finish()
    return config


def _config(settings: Settings, top: Value | None) -> Config:
    fields = settings.fields(top, _KEYS)
    systems = [_system(settings, item) for item in settings.items(fields.get("systems"))]
    levels = [_rule(settings, item) for item in settings.items(fields.get("levels"))]
    accept = settings.choice(fields.get("accept"), "level", [level.value for level in Level])
    _name_once(settings, fields.get("systems"))
    return Config(
        machine=settings.text(fields.get("machine")),
        systems=tuple(system for system in systems if system),
        levels=tuple(rule for rule in levels if rule),
        accept=Level(accept) if accept else Level.CHANGED,
        care=_care(settings, fields, [system for system in systems if system]),
        sign_of_life=_days(settings, fields.get("sign_of_life")),
        kit_to=_folder(settings, fields.get("kit_to")),
        recovery_key_at=settings.text(fields.get("recovery_key_at")) or "",
        keep_snapshots=_kept(settings, fields.get("keep_snapshots")) or Config.keep_snapshots,
    )


def _care(settings: Settings, fields: dict[str, Value], systems: list[SystemSetting]) -> Care:
    person = settings.fields(fields.get("looked_after_by"), ("name", "phone"), needed=("name",))
    return Care(
        name=settings.text(person.get("name")) or "",
        phone=settings.text(person.get("phone")) or "",
        menu_key=settings.text(fields.get("menu_key")) or "",
        stick=settings.text(fields.get("stick")) or "",
        language=settings.choice(fields.get("language"), "language", LANGUAGES) or ENGLISH,
        called={system.name: system.called for system in systems if system.called},
    )


def _days(settings: Settings, value: Value | None) -> int | None:
    text = settings.text(value)
    if value is None or text is None:
        return None
    if not re.fullmatch("[0-9]{1,3}", text) or not 1 <= int(text) <= _MOST_DAYS:
        settings.wrong(value, f"here belongs a number of days from 1 to {_MOST_DAYS}")
        return None
    return int(text)


def _kept(settings: Settings, value: Value | None) -> int | None:
    text = settings.text(value)
    if value is None or text is None:
        return None
    if not re.fullmatch("[0-9]{1,7}", text) or not _LEAST_KEPT <= int(text) <= _MOST_KEPT:
        settings.wrong(value, f"here belongs a number of snapshots from {_LEAST_KEPT} to {_MOST_KEPT}")
        return None
    return int(text)


def _folder(settings: Settings, value: Value | None) -> Path | None:
    text = settings.text(value)
    if value is None or text is None:
        return None
    if not text.startswith("/") or text.rstrip("/") == "":
        settings.wrong(value, "here belongs a folder, named from the root on: /mnt/stick, say")
        return None
    return Path(text)


def _system(settings: Settings, item: Value) -> SystemSetting | None:
    fields = settings.fields(item, ("name", "join", "hide", "called"), needed=("name",))
    name = settings.text(fields.get("name"))
    joined = [_joined(settings, one) for one in _one_or_more(settings, fields.get("join"))]
    hide = settings.flag(fields.get("hide"))
    called = settings.text(fields.get("called")) or ""
    return SystemSetting(name, tuple(one for one in joined if one), bool(hide), called) if name else None


def _joined(settings: Settings, value: Value) -> str | None:
    """A label, a folder, or a volume by its identity."""
    text = settings.text(value)
    if text is None or not _VOLUME.match(text):
        return text
    identity, separator, path = text.partition("\\")
    identity = identity.lower() if identity[:4].lower() == "gpt:" else identity
    if not any(form.fullmatch(identity) for form in _IDENTITIES):
        settings.wrong(value, f'"{text}" is no volume: one is called {_IDENTITY_FORMS}')
        return None
    return identity + separator + path.rstrip("\\")


def _one_or_more(settings: Settings, value: Value | None) -> tuple[Value, ...]:
    """A list, or a single text in the place of one."""
    return (value,) if value and value.kind == "text" else settings.items(value)


def _name_once(settings: Settings, systems: Value | None) -> None:
    """What joins two systems would belong to neither."""
    seen: dict[str, Value] = {}
    for item in systems.items if systems else ():
        joined = dict(item.fields).get("join")
        if joined is None:
            continue
        for one in joined.items or (joined,):
            first = seen.setdefault(fold(one.text), one)
            if one.text and first is not one:
                settings.wrong(one, f'"{one.text}" was joined in line {first.line} already')


def _rule(settings: Settings, item: Value) -> Rule | None:
    fields = settings.fields(item, ("change", "system", "path", "level"), needed=("level",))
    level = settings.choice(fields.get("level"), "level", [level.value for level in Level])
    change = settings.choice(fields.get("change"), "change", CHANGES)
    system, path = settings.text(fields.get("system")), settings.text(fields.get("path"))
    if item.kind == "mapping" and not {"change", "system", "path"} & set(fields):
        settings.wrong(item, "this would hold for everything: give change, system or path")
    return Rule(Level(level), change, system, path) if level else None
