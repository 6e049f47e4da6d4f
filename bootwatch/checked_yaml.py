"""Settings files: YAML read node by node, so that a mistake can name its file, line and key.

Nothing is constructed from tags, aliases are refused (a small file can stand for a huge one), and size
and depth are limited. All mistakes of a file are told together.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bootwatch.problem import UsageProblem

if TYPE_CHECKING:
    import yaml

_LARGEST = 256 * 1024
_DEEPEST = 12
_TAG = "tag:yaml.org,2002:"
_KINDS = {"str": "text", "null": "nothing", "bool": "flag", "int": "number", "float": "number"}
_TRUE = ("yes", "true", "on")
_HINT = "What may stand there is explained in the commented example that came with bootwatch."


@dataclass(frozen=True, order=True)
class Mistake:
    """One thing that is wrong in a settings file.

    ``key`` is its path ("levels[0].level"), "" for the file as a whole.
    """

    line: int
    key: str
    sentence: str

    def __str__(self) -> str:
        place = f"line {self.line}, {self.key}" if self.key else f"line {self.line}"
        return f"{place}: {self.sentence}"


class SettingsProblem(UsageProblem):
    """A settings file with mistakes in it: one line each, in the order of the file."""

    def __init__(self, file: Path, mistakes: Iterable[Mistake], hint: str = _HINT) -> None:
        self.file = file
        self.mistakes = tuple(sorted(set(mistakes)))
        super().__init__("\n".join(f"{file}, {mistake}" for mistake in self.mistakes), hint)


@dataclass(frozen=True)
class Value:
    """One value of a settings file, with its place.

    ``kind`` is text, number, flag, nothing, list or mapping. The line of a field is that of its key.
    """

    kind: str
    key: str
    line: int
    text: str = field(default="", repr=False)
    items: tuple[Value, ...] = field(default=(), repr=False)
    fields: tuple[tuple[str, Value], ...] = field(default=(), repr=False)

    @property
    def is_yes(self) -> bool:
        """Of a flag: which of the two."""
        return self.text.lower() in _TRUE


class Settings:
    """One settings file, and the mistakes found in it so far.

    With ``secret`` no value of the file, and nothing that might be one, gets into a mistake's sentence.
    """

    def __init__(self, file: Path, secret: bool = False) -> None:
        self.file = file
        self.secret = secret
        self.mistakes: list[Mistake] = []

    def read(self, data: bytes) -> Value | None:
        """The whole file's value; None for one that holds nothing. Raises SettingsProblem."""
        if len(data) > _LARGEST:
            raise self.failure(1, f"the file is larger than {_LARGEST // 1024} KiB")
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise self.failure(data[: error.start].count(b"\n") + 1, "the file is not UTF-8 text") from None
        node = self._compose(text)
        value = self._value(node, "") if node is not None else None
        return None if value is None or value.kind == "nothing" else value

    def wrong(self, value: Value, sentence: str) -> None:
        """Note a mistake at ``value``."""
        self.mistakes.append(Mistake(value.line, value.key, sentence))

    def finish(self) -> None:
        """Raise SettingsProblem when there were mistakes."""
        if self.mistakes:
            raise SettingsProblem(self.file, self.mistakes)

    def fields(
        self, value: Value | None, known: tuple[str, ...], needed: tuple[str, ...] = ()
    ) -> dict[str, Value]:
        """The fields of a mapping by name; unknown ones and ``needed`` ones that lack are mistakes."""
        if value is None:
            return {}
        if value.kind != "mapping":
            self.wrong(value, "here belong keys with values (" + ", ".join(known) + ")")
            return {}
        found: dict[str, Value] = {}
        for name, one in value.fields:
            if name in known:
                found[name] = one
            else:
                self.wrong(one, self._unknown(name, "key", known))
        for name in needed:
            if name not in found:
                self.wrong(value, f'the key "{name}" is missing')
        return found

    def items(self, value: Value | None) -> tuple[Value, ...]:
        """The items of a list; an absent or empty value has none."""
        if value is None or value.kind == "nothing":
            return ()
        if value.kind != "list":
            self.wrong(value, "here belongs a list: each item on a line of its own that begins with a hyphen")
            return ()
        return value.items

    def text(self, value: Value | None) -> str | None:
        """A text that isn't empty; a number counts as its text."""
        if value is None:
            return None
        if value.kind == "flag":
            self.wrong(value, "is read as yes or no: put it in quotes if it is meant as text")
        elif value.kind not in ("text", "number") or not value.text.strip():
            self.wrong(value, "here belongs a text")
        else:
            return value.text.strip()
        return None

    def flag(self, value: Value | None) -> bool | None:
        """Yes or no."""
        if value is None:
            return None
        if value.kind != "flag":
            self.wrong(value, "here belongs true or false")
            return None
        return value.is_yes

    def choice(self, value: Value | None, noun: str, known: Iterable[str]) -> str | None:
        """One of ``known``, which ``noun`` names."""
        text = self.text(value)
        known = tuple(known)
        if value is None or text is None or text in known:
            return text
        self.wrong(value, self._unknown(text, noun, known))
        return None

    def _unknown(self, given: str, noun: str, known: tuple[str, ...]) -> str:
        close = difflib.get_close_matches(given.lower(), known, 1)
        shown = f"there is no such {noun}" if self.secret else f'"{given}" is no {noun} that is known'
        if close:
            return f'{shown}; did you mean "{close[0]}"?'
        return f"{shown}; known are {', '.join(known)}" if len(known) < 10 else shown

    def _compose(self, text: str) -> yaml.Node | None:
        import yaml

        try:
            self._limit(yaml.parse(text, Loader=yaml.SafeLoader))
            return yaml.compose(text, Loader=yaml.SafeLoader)
        except yaml.MarkedYAMLError as error:
            mark = error.problem_mark or error.context_mark
            # The library's own words quote what they stumbled over.
            said = "" if self.secret or not error.problem else f" ({error.problem})"
            raise self.failure(mark.line + 1 if mark else 1, f"this is not well-formed YAML{said}") from None
        except yaml.reader.ReaderError as error:
            line = text.count("\n", 0, error.position) + 1
            raise self.failure(line, "there is a character that YAML doesn't allow") from None

    def _limit(self, events: Iterable[Any]) -> None:
        """Look through the events first: composing nodes of a hostile file could go too deep."""
        import yaml

        depth = 0
        for event in events:
            line = event.start_mark.line + 1 if event.start_mark else 1
            if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
                raise self.failure(
                    line, "anchors and aliases (& and *) are not used here: put such a text in quotes"
                )
            if isinstance(event, yaml.CollectionStartEvent):
                depth += 1
            elif isinstance(event, yaml.CollectionEndEvent):
                depth -= 1
            if depth > _DEEPEST:
                raise self.failure(line, "this is nested deeper than any setting")

    def _value(self, node: yaml.Node, key: str) -> Value:
        import yaml

        line = node.start_mark.line + 1
        kind = node.tag.removeprefix(_TAG)
        if isinstance(node, yaml.SequenceNode):
            items = tuple(self._value(item, f"{key}[{number}]") for number, item in enumerate(node.value))
            return Value("list", key, line, items=items)
        if isinstance(node, yaml.MappingNode):
            return Value("mapping", key, line, fields=self._pairs(node, key))
        # A date or another of YAML's kinds is meant as text; a tag that isn't YAML's is no business of ours.
        return Value(_KINDS.get(kind, "text"), key, line, text=str(node.value))

    def _pairs(self, node: yaml.MappingNode, key: str) -> tuple[tuple[str, Value], ...]:
        import yaml

        pairs: dict[str, Value] = {}
        for name, value in node.value:
            line = name.start_mark.line + 1
            if not isinstance(name, yaml.ScalarNode):
                self.mistakes.append(Mistake(line, key, "a key must be a plain word"))
                continue
            word = str(name.value)
            one = replace(self._value(value, self._below(key, word)), line=line)
            if word in pairs:
                self.wrong(one, "this key stands here twice")
            pairs[word] = one
        return tuple(pairs.items())

    def _below(self, key: str, word: str) -> str:
        # A whole address with its password can end up as a key when a line is written in a wrong way.
        shown = "?" if self.secret and not word.isidentifier() else word
        return f"{key}.{shown}" if key else shown

    def failure(self, line: int, sentence: str) -> SettingsProblem:
        """What to raise where nothing of the file can be had; the mistakes so far are in it."""
        return SettingsProblem(self.file, [*self.mistakes, Mistake(line, "", sentence)])
