"""What each change and each finding means: one document for each name, apart from what is judged.

Messages, reports and the manual take their words from here. ``{what}`` stands for a noun phrase with its
article (``the entry "Fernwick Linux"``) and ``{system}`` for the affected system's name.
"""

from __future__ import annotations

import re

from bootwatch.judge.meanings import entries, files, findings, firmware, order, volumes
from bootwatch.model.meaning import Meaning

_PARTS = (entries, order, volumes, files, firmware)

CHANGES: dict[str, Meaning] = {meaning.name: meaning for part in _PARTS for meaning in part.MEANINGS}
FINDINGS: dict[str, Meaning] = {meaning.name: meaning for meaning in findings.MEANINGS}
MEANINGS: dict[str, Meaning] = CHANGES | FINDINGS

_PLACEHOLDER = re.compile(r"\{(what|system)\}")


def fill(sentence: str, what: str, system: str | None) -> str:
    """Put ``what`` and ``system`` into ``sentence``, and begin it with a capital letter.

    One pass only: braces in a hostile label stay what they are.
    """
    words = {"what": what, "system": system or "a system"}
    filled = _PLACEHOLDER.sub(lambda found: words[found[1]], sentence)
    return filled[:1].upper() + filled[1:]
