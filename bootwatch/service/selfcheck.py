"""Whether bootwatch itself works. Each check is a function of what was gathered, and of nothing else."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from bootwatch.model.checkup import Check, State
from bootwatch.tell.age import age
from bootwatch.tell.phrases import moment
from bootwatch.tell.plain import plain

_TRY = "Mend the address, then: sudo bootwatch alerts test"
_SUDO = "It takes sudo to see that."
# One failed attempt is nothing to bother anybody with; the sender tries again by itself.
_ATTEMPTS = 5
_LATE = datetime.timedelta(days=3)
_WHILE = datetime.timedelta(hours=1)
_SAID = 500


@dataclass(frozen=True)
class Gathered:
    """What the checks go by. Times are UTC in RFC 3339; None for what the caller can't know, or isn't there.

    ``settings_mistakes``, ``address_mistakes`` hold one sentence each; ``addresses`` is how many there are.
    ``untold`` are deliveries that failed: address, why, attempts, first_try, for_good. ``read``: when the
    machine was read last. ``baseline``: when it was saved, "" where there is none.
    ``baseline_trouble`` and ``history_trouble`` say why those can't be used; ``history_faults`` what in the
    history is not as it was recorded, a sentence each, None for who may not look. ``told`` is the last
    message that got through: address, time. ``alert`` is the open alert as `bootwatch alerts` shows it.
    ``units``: by name whether each is enabled and active, in systemd's words; None where systemd doesn't
    run. ``unfinished``: when a restore began that was stopped or cut off; ``records_trouble``: why the
    record of one can't be used.
    """

    now: datetime.datetime
    settings_file: str = ""
    settings_mistakes: Sequence[str] = ()
    addresses_file: str = ""
    addresses: int | None = None
    address_mistakes: Sequence[str] = ()
    untold: Sequence[dict[str, Any]] | None = None
    read: str | None = None
    history_file: str = ""
    history_trouble: str = ""
    history_faults: Sequence[str] | None = None
    baseline: str | None = None
    baseline_trouble: str = ""
    told: dict[str, str] | None = None
    alert: dict[str, Any] | None = None
    units: dict[str, tuple[str, str]] | None = None
    unfinished: str = ""
    records_trouble: str = ""


def checked(found: Gathered) -> list[Check]:
    """All checks, in the order of people's reading."""
    return [check for one in _CHECKS for check in one(found)]


def _settings(found: Gathered) -> Iterator[Check]:
    for mistake in found.settings_mistakes:
        mend = "Until that is mended the service goes by the settings from before."
        yield Check("settings", State.WRONG, plain(mistake, _SAID), mend)
    if not found.settings_mistakes:
        yield Check("settings", State.FINE, f"No mistake in {found.settings_file}.")


def _addresses(found: Gathered) -> Iterator[Check]:
    for mistake in found.address_mistakes:
        mend = "Until it is mended nobody is told; then: sudo bootwatch alerts test"
        yield Check("addresses", State.WRONG, plain(mistake, _SAID), mend)
    if found.address_mistakes:
        return
    if found.addresses is None:
        yield Check("addresses", State.UNKNOWN, "Whether anybody is to be told is not known.", _SUDO)
    elif found.addresses == 0:
        mend = f"Write an address into {found.addresses_file}, then: sudo bootwatch alerts test"
        yield Check("addresses", State.WRONG, "Nobody is told of changes: there is no address.", mend)
    else:
        those = "the one address" if found.addresses == 1 else f"{found.addresses} addresses"
        yield Check("addresses", State.FINE, f"No mistake in {those}.")


def _delivery(found: Gathered) -> Iterator[Check]:
    if found.untold is None:
        yield Check("delivery", State.UNKNOWN, "Nothing was sent yet, as far as can be seen.")
        return
    stuck = {
        str(one["address"]): one for one in found.untold if one["for_good"] or one["attempts"] >= _ATTEMPTS
    }
    for name, one in stuck.items():
        end = "given up" if one["for_good"] else f"{one['attempts']} attempts so far"
        since, why = moment(one["first_try"]), plain(one["why"], _SAID)
        said = f"{plain(name, 60)} can't be told since {since}: {why} ({end})."
        yield Check("delivery", State.WRONG, said, _TRY)
    if not stuck:
        yield Check("delivery", State.FINE, "No address refuses what it is to be told.")


def _told(found: Gathered) -> Iterator[Check]:
    if found.told is None:
        said = "No message got through so far, as far as can be seen."
        yield Check("last told", State.UNKNOWN, said, "To try each address: sudo bootwatch alerts test")
        return
    name, time = plain(found.told["address"], 60), found.told["time"]
    yield Check("last told", State.FINE, f"{name} got a message {moment(time)}.")


def _reading(found: Gathered) -> Iterator[Check]:
    mend = "Try: sudo bootwatch snapshot. What the service said: journalctl -u 'bootwatch-read@*' -n 20"
    if found.history_trouble:
        yield Check("reading", State.WRONG, plain(found.history_trouble, _SAID), mend)
        return
    if not found.read:
        yield Check("reading", State.WRONG, "The machine was not read yet.", mend)
        return
    said = f"The machine was read {age(found.read, found.now)}, {moment(found.read)}."
    passed = found.now - datetime.datetime.fromisoformat(found.read)
    if passed > _LATE:
        yield Check("reading", State.WRONG, f"{said} That is long ago for a machine that is on.", mend)
    elif passed < -_WHILE:
        yield Check("reading", State.WRONG, said, "Set the clock: timedatectl. Reminders go by it.")
    else:
        yield Check("reading", State.FINE, said)


def _history(found: Gathered) -> Iterator[Check]:
    """The chain of what was recorded; that it can't be used at all is said of the reading."""
    if found.history_faults is None:
        if not found.history_trouble:
            yield Check("history", State.UNKNOWN, "Whether the history is whole is not known.", _SUDO)
        return
    for fault in found.history_faults:
        yield Check("history", State.WRONG, plain(fault, _SAID), _anew(found.history_file))
    if not found.history_faults:
        yield Check("history", State.FINE, "Each record is as it was written, and follows the one before.")


def _anew(file: str) -> str:
    begin = f"sudo mv {file} {file}.damaged && sudo bootwatch snapshot"
    return f"What is whole can still be read. To begin a new one, and be told anew of what is open: {begin}"


def _baseline(found: Gathered) -> Iterator[Check]:
    mend = "When both systems start as they should: sudo bootwatch baseline save --reason TEXT"
    if found.baseline_trouble:
        yield Check("baseline", State.WRONG, plain(found.baseline_trouble, _SAID), mend)
    elif found.baseline is None:
        yield Check("baseline", State.UNKNOWN, "Whether there is a baseline is not known.", _SUDO)
    elif not found.baseline:
        yield Check("baseline", State.WRONG, "There is no baseline, so no change is noticed.", mend)
    else:
        yield Check("baseline", State.FINE, f"There is one, saved {moment(found.baseline)}.")


def _alert(found: Gathered) -> Iterator[Check]:
    """An open alert is nothing wrong with bootwatch, but for one that nobody was told of."""
    alert = found.alert
    if alert is None:
        yield Check("alert", State.FINE, "None is open.")
        return
    said = f"{alert['name']} is open since {moment(alert['opened'])}"
    if _heard(alert) or found.now - datetime.datetime.fromisoformat(alert["opened"]) < _WHILE:
        yield Check("alert", State.FINE, f"{said}: bootwatch alerts")
    else:
        mend = "See who should have been: bootwatch alerts. Then: sudo bootwatch alerts test"
        yield Check("alert", State.WRONG, f"{said}, and nobody was told of it.", mend)


def _heard(alert: dict[str, Any]) -> bool:
    """Whether anybody was told, or the caller can't know."""
    if alert["tellings"] is None:
        return bool(alert["told"])
    return not alert["tellings"] or any(
        one["told"] or one["receipts"] == "denied" for one in alert["tellings"]
    )


def _units(found: Gathered) -> Iterator[Check]:
    if found.units is None:
        said = "systemd does not run here, so nothing is read or sent by itself."
        yield Check("units", State.UNKNOWN, said)
        return
    for name, (enabled, active) in found.units.items():
        if enabled != "enabled":
            mend = f"sudo systemctl enable --now {name}"
            yield Check("units", State.WRONG, f"{name} is not enabled ({plain(enabled, 40)}).", mend)
        elif active != "active":
            mend = f"sudo systemctl restart {name}; why: systemctl status {name}"
            yield Check("units", State.WRONG, f"{name} is not active ({plain(active, 40)}).", mend)
    if all(both == ("enabled", "active") for both in found.units.values()):
        yield Check("units", State.FINE, f"All {len(found.units)} are enabled and active.")


def _restores(found: Gathered) -> Iterator[Check]:
    """Said only where something is left to be done."""
    if found.records_trouble:
        mend = "Without it that restore can't be taken back."
        yield Check("restore", State.WRONG, plain(found.records_trouble, _SAID), mend)
    elif found.unfinished:
        said = f"The restore that was begun {moment(found.unfinished)} was stopped or cut off."
        mend = "To go on with it: sudo bootwatch restore. To take it back: sudo bootwatch restore --undo"
        yield Check("restore", State.WRONG, said, mend)


_CHECKS: tuple[Callable[[Gathered], Iterator[Check]], ...] = (
    _settings,
    _addresses,
    _delivery,
    _told,
    _reading,
    _history,
    _baseline,
    _alert,
    _units,
    _restores,
)
