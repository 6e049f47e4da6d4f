"""A system: an operating system installed on the machine, as far as its start-up shows it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class System:
    """``key`` survives a reboot: the volume and folder where it was seen first, or the name that the settings
    give it. ``also`` holds its other names. ``volumes`` are identities without a clone's address, ``folders``
    its loaders' folders on them; where a volume got another identity, both are there. ``removable``: all of
    it lies on removable disks."""

    key: str
    name: str
    also: tuple[str, ...] = ()
    hidden: bool = False
    removable: bool = False
    volumes: tuple[str, ...] = ()
    folders: tuple[tuple[str, str], ...] = ()

    @property
    def is_watched(self) -> bool:
        """Whether its loss is worth telling: sticks come and go, and of what is hidden nobody asks."""
        return not self.hidden and not self.removable
