"""What the checks of bootwatch itself go by."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Unit:
    """A unit in systemd's words. ``is_needed``: it has to be enabled; ``is_lasting``: and to be active."""

    enabled: str
    active: str
    result: str = ""
    is_needed: bool = True
    is_lasting: bool = True


@dataclass(frozen=True)
class Gathered:
    """What the checks go by. Times are UTC in RFC 3339; None for what the caller can't know, or isn't there.

    ``settings_mistakes``, ``address_mistakes`` hold one sentence each; ``addresses`` is how many there
    are. ``untold`` are deliveries that failed: address, why, attempts, first_try, for_good. ``read``:
    when the machine was read last. ``baseline``: when it was saved, "" where there is none.
    ``baseline_trouble`` and ``history_trouble`` say why those can't be used, ``baseline_mend`` and
    ``history_mend`` what to do then, if not the usual; ``history_faults`` what in
    the history is not as it was recorded, a sentence each, None for who may not look. ``told`` is the
    last message that got through: address, time. ``alert`` is the open alert as `bootwatch alerts` shows
    it. ``units``: by name what systemd says of each; None where it doesn't run. ``unfinished``: when a
    restore began that was stopped or cut off; ``records_trouble``: why the record of one can't be used.
    ``is_read_since_start``: whether the machine was read since it was started. ``rights``: what belongs
    to the wrong owner or is open to others, each with what puts that right. ``baseline_digest`` is that
    of the baseline's file, ``compared`` that which the last reading went by; ``is_logged``: whether the
    administrator's log knows of it. ``spares_lacking``: paths of programs in it without a sound spare;
    ``spares_damaged``: spares that aren't what their names say. ``kit_here``: whether the kit kept on
    this machine is of this baseline; ``kit_elsewhere`` the same of the one put elsewhere last, in the
    words of `Kit`. ``unkept``: what the last restore wrote and a later start lost.
    """

    now: datetime.datetime
    settings_file: str = ""
    settings_mistakes: Sequence[str] = ()
    addresses_file: str = ""
    addresses: int | None = None
    address_mistakes: Sequence[str] = ()
    untold: Sequence[dict[str, Any]] | None = None
    read: str | None = None
    is_read_since_start: bool | None = None
    history_file: str = ""
    history_trouble: str = ""
    history_mend: str = ""
    history_faults: Sequence[str] | None = None
    baseline: str | None = None
    baseline_trouble: str = ""
    baseline_mend: str = ""
    baseline_digest: str = ""
    compared: str | None = None
    is_logged: bool = True
    spares_lacking: Sequence[str] = ()
    spares_damaged: Sequence[str] = ()
    kit_here: bool | None = None
    kit_elsewhere: str = ""
    unkept: Sequence[str] = ()
    told: dict[str, str] | None = None
    alert: dict[str, Any] | None = None
    units: dict[str, Unit] | None = None
    rights: Sequence[tuple[str, str]] | None = None
    unfinished: str = ""
    records_trouble: str = ""
