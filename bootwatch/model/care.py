"""Who looks after a machine, and what its owner calls things: what texts for the owner need to know."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

ENGLISH = "en"


@dataclass(frozen=True)
class Care:
    """From the settings; "" for what they don't say. ``menu_key`` opens the firmware's own start menu,
    ``stick`` says where the stick for emergencies lies; ``called`` gives the owner's name for a system by
    the name that bootwatch has for it; ``language`` is that of the owner's texts (ISO 639)."""

    name: str = ""
    phone: str = ""
    menu_key: str = ""
    stick: str = ""
    language: str = ENGLISH
    called: Mapping[str, str] = field(default_factory=dict)

    def name_of(self, system: str) -> str:
        """What the owner calls a system."""
        return self.called.get(system, system)

    def to_json(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "phone": self.phone,
            "menu_key": self.menu_key,
            "stick": self.stick,
            "language": self.language,
            "called": dict(self.called),
        }

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> Care:
        """Raises TypeError where a value is no text."""
        words = {key: document.get(key, "") for key in ("name", "phone", "menu_key", "stick")}
        words["language"] = document.get("language", ENGLISH)
        called = dict(document.get("called", {}))
        for word in (*words.values(), *called, *called.values()):
            if not isinstance(word, str):
                raise TypeError("a value that is no text")
        return cls(**words, called=called)


UNKNOWN = Care()
