"""Settings as JSON: a recovery kit carries them so, since a live system may lack the library for YAML."""

from __future__ import annotations

import json
from typing import Any

from bootwatch.checked_yaml import Settings, Value

FORMAT = "bootwatch/settings/1"
_DEEPEST = 12
_LINE = 1  # whoever reads it is a program


def written(top: Value | None) -> bytes:
    """Settings that were read, as they are read again by `read`; None for none."""
    document = {"format": FORMAT, "settings": _plain(top) if top else None}
    return json.dumps(document, indent=1, sort_keys=True).encode() + b"\n"


def read(settings: Settings, data: bytes) -> Value | None:
    """The value of all settings; None for none. Raises SettingsProblem."""
    try:
        document = json.loads(data)
    except (ValueError, RecursionError):
        raise settings.failure(_LINE, "this is no JSON") from None
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise settings.failure(_LINE, f'this doesn\'t say "format": "{FORMAT}"')
    top = document.get("settings")
    if _depth_exceeds(top, _DEEPEST):
        raise settings.failure(_LINE, "this is nested deeper than any setting")
    return None if top is None else _value(top, "")


def _plain(value: Value) -> Any:
    """Numbers stay the text that they are: a telephone number may begin with 0."""
    match value.kind:
        case "mapping":
            return {name: _plain(one) for name, one in value.fields}
        case "list":
            return [_plain(one) for one in value.items]
        case "flag":
            return value.is_yes
        case "nothing":
            return None
        case _:
            return value.text


def _value(document: Any, key: str) -> Value:
    match document:
        case dict():
            below = {name: _value(one, f"{key}.{name}" if key else name) for name, one in document.items()}
            return Value("mapping", key, _LINE, fields=tuple(below.items()))
        case list():
            items = (_value(one, f"{key}[{number}]") for number, one in enumerate(document))
            return Value("list", key, _LINE, items=tuple(items))
        case bool():
            return Value("flag", key, _LINE, text="true" if document else "false")
        case None:
            return Value("nothing", key, _LINE)
        case str():
            return Value("text", key, _LINE, text=document)
        case _:
            return Value("number", key, _LINE, text=str(document))


def _depth_exceeds(document: Any, most: int) -> bool:
    """Whether collections lie more than ``most`` deep in each other."""
    if not isinstance(document, dict | list):
        return False
    below = document.values() if isinstance(document, dict) else document
    return most == 0 or any(_depth_exceeds(one, most - 1) for one in below)
