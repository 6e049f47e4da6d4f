"""Reading what people write by hand: YAML in which ``on`` and ``off`` are words."""

from __future__ import annotations

import copy
import re
from functools import cache
from pathlib import Path
from typing import Any

import yaml


class _Loader(getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]
    """Without YAML's own idea of on and off, and of times."""


_TAKEN = ("tag:yaml.org,2002:bool", "tag:yaml.org,2002:timestamp")
_Loader.yaml_implicit_resolvers = {
    first: [one for one in found if one[0] not in _TAKEN]
    for first, found in _Loader.yaml_implicit_resolvers.items()
}
_Loader.add_implicit_resolver("tag:yaml.org,2002:bool", re.compile("^(?:yes|no|true|false)$"), list("yntf"))


def read(path: Path) -> dict[str, Any]:
    """A file's mapping, the caller's own."""
    return copy.deepcopy(_read(path))


@cache
def _read(path: Path) -> dict[str, Any]:
    return dict(yaml.load(path.read_text("utf-8"), Loader=_Loader))
