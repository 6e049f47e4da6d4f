"""A loader's settings in text, of whatever loader: the entries of its menu and what they name.

There are many such formats, and none is known here by name. What they have in common is used: a line begins
with a word that says what it is about, paths begin with a slash or backslash, entries lie in braces or under
a heading, and file systems are named by UUID, serial number or label, before the files on them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise

from bootwatch.judge.menu import OWN, UNKNOWN, By, Menu, Role, Stanza, Target, Where
from bootwatch.judge.settings_words import (
    FILE,
    LABEL,
    LONGEST_LINE,
    UNKNOWN_VALUE,
    expand,
    names_in,
    path_in,
    relative_in,
    roots_in,
    words_of,
)

LARGEST = 64 << 10
_MOST_LINES = 4000
_MOST_STANZAS = 500
_MOST_TARGETS = 40
_SETTING = re.compile(r"([A-Za-z_][\w.-]*)\s*(?:=|:\s)\s*(.+)", re.DOTALL)
_PIECE = re.compile(r"""'[^']*'|"[^"]*"|;|[^;'"]+""")
_NAME = re.compile(r"[A-Za-z_]\w*")
_HEADINGS = frozenset({"label", "title", "entry", "menuentry"})
_NO_ENTRIES = frozenset({"if", "elif", "else", "for", "while", "until", "function", "submenu"})
_OPTIONS = ("option", "cmdline", "append", "param", "args")
_LOCATING = ("search", "uuid", "guid", "volume", "root", "partition", "drive", "device", "disk", "label")
_PROGRAMS = frozenset({"efi", "uki", "loader", "program", "application", "exec", "path", "image"})
# Files that go by the same words and are for the eye.
_NO_KERNEL = re.compile(r".*\.(?:png|jpe?g|bmp|tga|gif|icns|pf2|ttf|otf|txt|cfg|conf|mod|lst)", re.IGNORECASE)
_SETTINGS = frozenset({"include", "source", "normal", "extends"})
# Lines on which a program is named that the entry doesn't start.
_NO_START = ("driver", "module", "icon", "default", "hide", "dont", "exclude", "skip", "tool", "test")


@lru_cache(maxsize=128)
def parse(data: bytes) -> Menu:
    """Read the settings. Whatever the bytes are, this ends soon; what says nothing is left out."""
    reader = _Reader()
    for line in decode(data[:LARGEST]).splitlines()[:_MOST_LINES]:
        reader.line(line[:LONGEST_LINE])
    return reader.menu()


def decode(data: bytes) -> str:
    """A text file's content: UTF-16 where it says so, else UTF-8."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", "replace")
    return data.decode("utf-8", "replace").removeprefix("\ufeff")


@dataclass
class _Draft:
    """A stanza while it is read. ``where`` is the file system that was named last."""

    title: str = ""
    where: Where = OWN
    values: dict[str, str] = field(default_factory=dict)
    targets: list[Target] = field(default_factory=list)
    roots: list[str] = field(default_factory=list)
    places: list[str] = field(default_factory=list)
    is_entry: bool = True

    def inner(self, title: str, *, is_entry: bool = True) -> _Draft:
        """One that begins with what was set so far."""
        return _Draft(title, self.where, dict(self.values), is_entry=is_entry)

    @property
    def has_start(self) -> bool:
        return any(target.role in (Role.KERNEL, Role.PROGRAM) for target in self.targets)

    def stanza(self) -> Stanza:
        return Stanza(self.title, tuple(self.targets), tuple(self.roots), tuple(self.places))


class _Reader:
    def __init__(self) -> None:
        self._outer: list[_Draft] = []  # what the open braces interrupt
        self._top = self._draft = _Draft()
        self._stanzas: list[Stanza] = []
        self._default: str | None = None
        self._conditions = 0

    def menu(self) -> Menu:
        for draft in (*self._outer, self._draft):
            self._finish(draft)
        if not self._stanzas and self._top.places:
            self._stanzas.append(self._top.stanza())
        return Menu(tuple(self._stanzas), self._default)

    def _finish(self, draft: _Draft) -> None:
        if draft.targets and len(self._stanzas) < _MOST_STANZAS:
            self._stanzas.append(draft.stanza())
            draft.targets = []

    def line(self, line: str) -> None:
        text = line.strip()
        if not text or text.startswith(("#", "//", ";")):
            return
        for part in _commands(text):
            if part.strip():
                self._command(part.strip(), is_indented=line[:1].isspace())

    def _command(self, text: str, *, is_indented: bool) -> None:
        words = words_of(text)
        while words and words[0] in ("then", "else", "do", "}"):
            if words.pop(0) == "}":
                self._close()
        if not words:
            return
        if words[-1].endswith("{"):
            self._open(words)
        elif words[0] in ("if", "fi", "elif"):
            self._conditions = max(0, self._conditions + {"if": 1, "fi": -1}.get(words[0], 0))
        elif not self._heading(text, words, is_indented):
            self._setting(text, words)

    # entries

    def _open(self, words: list[str]) -> None:
        """A brace: what stands before it says whether it holds an entry."""
        verb = words[0].lower().rstrip("{")
        title = words[1].rstrip("{") if len(words) > 1 else "" if verb else self._draft.title
        self._outer.append(self._draft)
        self._draft = self._draft.inner(title, is_entry=verb not in _NO_ENTRIES)

    def _close(self) -> None:
        if self._outer:
            self._finish(self._draft)
            self._draft = self._outer.pop()

    def _heading(self, text: str, words: list[str], is_indented: bool) -> bool:
        """A line that is nothing but the name of the entry whose lines follow."""
        verb = words[0].lower()
        if verb in _HEADINGS and len(words) > 1 and words[1] != "=":
            title = " ".join(words[1:])
        elif text.startswith("[") and text.endswith("]"):
            title = text[1:-1]
        elif text[0] in "/:" and not is_indented and not self._outer:
            title = text.lstrip("/:+ ")
        else:
            return False
        if self._outer:
            self._draft.title = self._draft.title or title
        else:
            self._next(title)
        return True

    def _next(self, title: str) -> None:
        """The entry before ends where another begins."""
        if self._draft is not self._top:
            self._finish(self._draft)
        self._draft = self._top.inner(title)

    # what a line says

    def _setting(self, text: str, words: list[str]) -> None:
        if words[0] == "set" and len(words) > 1:
            text, words = text[3:].strip(), words[1:]
        match = _SETTING.fullmatch(text)
        verb, rest = (match[1], match[2]) if match and not text.startswith("-") else (words[0], "")
        arguments = words_of(rest) if match else words[1:]
        arguments = [expand(word, self._draft.values) for word in arguments]
        verb = verb.lower()
        if match and len(arguments) == 1 and _NAME.fullmatch(match[1]):
            self._draft.values[match[1]] = arguments[0]
        if verb in _HEADINGS:
            self._draft.title = " ".join(arguments)
        elif verb.startswith("default"):
            self._note_default(arguments)
        elif any(word in verb for word in _OPTIONS):
            self._options(arguments)
        elif not self._target(verb, arguments):
            self._locate(verb, arguments)

    def _note_default(self, arguments: list[str]) -> None:
        text = " ".join(arguments)
        if self._default is None and text and UNKNOWN_VALUE not in text:
            self._default = text

    def _options(self, arguments: list[str]) -> None:
        words = [word for argument in arguments for word in argument.split()]
        self._draft.roots += roots_in(words)
        for word in words:
            if word.lower().startswith("initrd="):
                for path in word[len("initrd=") :].split(","):
                    self._add(Role.INITRD, path)

    def _target(self, verb: str, arguments: list[str]) -> bool:
        """Whether the line names a file that the entry needs, or another loader."""
        role = _role(verb)
        if role is Role.INITRD:
            return self._add_all(role, arguments)
        if role:
            named = [word for word in arguments if not word.startswith("-")][:1]
            is_known = any(self._add(_kind(role, verb, word), word) for word in named)
            if role is Role.KERNEL or is_known:
                self._options(arguments[1:])
            return is_known or role is Role.KERNEL
        if any(word in verb for word in _NO_START):
            return False
        programs = [word for word in arguments if word.lower().endswith(".efi") and path_in(word, OWN)]
        return self._add_all(Role.PROGRAM, programs)

    def _add_all(self, role: Role, words: list[str]) -> bool:
        return sum(self._add(role, word) for word in words) > 0

    def _add(self, role: Role, word: str) -> bool:
        if len(self._draft.targets) >= _MOST_TARGETS or not self._draft.is_entry:
            return False
        found = path_in(word, self._draft.where)
        relative = None if found else relative_in(word)
        if not found and not relative:
            return False
        if role is Role.KERNEL and _NO_KERNEL.fullmatch(word):
            return False
        if role in (Role.KERNEL, Role.PROGRAM) and self._is_flat:
            self._next_of_flat()
        path, where = found or (relative or "", OWN)
        self._draft.targets.append(Target(role, path, where, self._conditions > 0))
        return True

    @property
    def _is_flat(self) -> bool:
        return self._draft is self._top and self._draft.has_start and not self._conditions

    def _next_of_flat(self) -> None:
        """Without braces and headings, each kernel or program is an entry of its own."""
        draft = self._draft
        self._finish(draft)
        draft.roots, draft.title = [], ""

    def _locate(self, verb: str, arguments: list[str]) -> None:
        if not any(word in verb for word in _LOCATING):
            return
        names = [name for word in arguments for name in names_in(word, short=True)]
        where = Where(By.NAME, tuple(names)) if names else _by_other_means(verb, arguments)
        if where is None:
            return
        self._draft.where = where
        if where.by is By.NAME:
            self._draft.places += where.names
        known = f"{FILE if where.by is By.FILE else ''}{where.names[0]}" if where.names else None
        for name in _variables(verb, arguments, names) if known else ():
            self._draft.values[name] = known or ""


def _commands(text: str) -> list[str]:
    """Commands that share a line; a semicolon in quotes is only text."""
    if ";" not in text:
        return [text]
    found = [""]
    for piece in _PIECE.findall(text):
        if piece == ";":
            found.append("")
        else:
            found[-1] += piece
    return found


def _role(verb: str) -> Role | None:
    if "initrd" in verb or "ramdisk" in verb or verb.startswith("module"):
        return Role.INITRD
    if "linux" in verb or "kernel" in verb:
        return Role.KERNEL
    if "config" in verb or verb in _SETTINGS:
        return Role.SETTINGS
    return Role.PROGRAM if "chain" in verb or verb.removesuffix("_path") in _PROGRAMS else None


def _kind(role: Role, verb: str, word: str) -> Role:
    """What an entry starts by a word of many meanings ("path", "loader"): a program, or else a kernel."""
    if role is not Role.PROGRAM or "chain" in verb or verb in ("efi", "uki"):
        return role
    return Role.PROGRAM if word.lower().endswith(".efi") else Role.KERNEL


def _by_other_means(verb: str, arguments: list[str]) -> Where | None:
    """A file system named otherwise than by a UUID; None where the line names none."""
    plain = [word for word in arguments if not word.startswith("-")]
    if "search" in verb:
        options = " ".join([verb, *(word for word in arguments if word.startswith("-"))])
        path = next((found[0] for word in plain if (found := path_in(word, OWN))), None)
        if "file" in options or "-f" in arguments:
            return Where(By.FILE, (path,)) if path else UNKNOWN
        if ("label" in options or "-l" in arguments) and plain:
            behind = [after for word, after in pairwise(arguments) if word in ("--label", "--fs-label", "-l")]
            label = plain[0] if "." in verb else next((one for one in behind if one in plain), plain[-1])
            return Where(By.NAME, (LABEL + label,))
        return UNKNOWN
    if verb == "volume" and len(plain) == 1 and not plain[0].endswith(":"):
        return Where(By.NAME, (LABEL + plain[0],))
    return UNKNOWN if verb in ("root", "volume", "partition", "device", "drive") else None


def _variables(verb: str, arguments: list[str], names: list[str]) -> list[str]:
    """The variables that a search puts its result into."""
    if "search" not in verb:
        return [verb]
    found = [word.partition("=")[2] for word in arguments if word.startswith("--set=")]
    found += [after for word, after in pairwise(arguments) if word in ("--set", "-s")]
    if "." in verb:
        found += [word for word in arguments[1:] if _NAME.fullmatch(word) and word not in names]
    return found or ["root"]
