"""Whether both forms of a kit's baseline say the same: people read the one, the program goes by the other."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path
from typing import Any

from bootwatch.keep.baseline import parse
from bootwatch.problem import Problem
from bootwatch.recover.kit_contents import BASELINE, BASELINE_YAML


def require_same(kit: str, document: dict[str, Any], yaml: bytes) -> None:
    """Raise Problem unless ``yaml`` is the baseline ``document``. A live system may lack the library for it:
    there the kit's sums have to do."""
    if find_spec("yaml") is None:
        return
    if parse(yaml, Path(kit) / BASELINE_YAML) != document:
        raise Problem(
            f"The kit {kit} was edited: {BASELINE} says otherwise than {BASELINE_YAML}. Nothing was changed.",
            "Make a new one: sudo bootwatch baseline export --to FOLDER",
        )
