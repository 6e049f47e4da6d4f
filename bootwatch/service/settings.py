"""The settings that a command goes by: the machine's, or with a recovery kit those that lie in it."""

from __future__ import annotations

from bootwatch.config import Config
from bootwatch.places import Places


def settings_of(places: Places) -> Config:
    """Raises UsageProblem that names every mistake."""
    if places.from_kit:
        from bootwatch.recover.kit import opened
        from bootwatch.recover.kit_contents import SETTINGS

        kit = opened(places.from_kit)
        if kit.settings and places.config == places.from_kit / SETTINGS:
            return kit.settings
    return Config.load(places.config)
