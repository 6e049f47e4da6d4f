"""The short document that every change and finding has."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Meaning:
    """What a change or finding means: the one source of messages and manual.

    ``headline`` and ``consequence`` are one sentence each; ``{what}`` and ``{system}`` in them stand for
    what it happened to and the affected system. ``means`` explains it to somebody who never heard of it,
    ``todo`` says what to do while the machine still runs, ``caution`` what that can set off ("" for none).
    """

    name: str
    headline: str
    consequence: str
    means: str
    todo: str
    caution: str = ""
