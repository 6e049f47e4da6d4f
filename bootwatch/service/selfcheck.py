"""Whether bootwatch itself works. Each check is a function of what was gathered, and of nothing else."""

from __future__ import annotations

import datetime
import shlex
from collections.abc import Callable, Iterator
from typing import Any

from bootwatch.model.checkup import Check, State
from bootwatch.service.gathered import Gathered, Unit
from bootwatch.service.selfcheck_kept import KEPT
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
        yield Check("reading", State.WRONG, plain(found.history_trouble, _SAID), found.history_mend or mend)
        return
    if not found.read:
        yield Check("reading", State.WRONG, "The machine was not read yet.", mend)
        return
    said = f"The machine was read {age(found.read, found.now)}, {moment(found.read)}."
    if found.is_read_since_start is False:
        yield Check("reading", State.WRONG, f"{said} It was not since it was started.", mend)
        return
    passed = found.now - datetime.datetime.fromisoformat(found.read)
    if passed > _LATE:
        yield Check("reading", State.WRONG, f"{said} That is long ago for a machine that is on.", mend)
    elif passed < -_WHILE:
        yield Check("reading", State.WRONG, said, "Set the clock: timedatectl. Reminders go by it.")
    else:
        yield Check("reading", State.FINE, said)


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
    wrong = [check for name, unit in found.units.items() for check in _of_unit(name, unit)]
    yield from wrong
    if not wrong:
        yield Check("units", State.FINE, f"All {len(found.units)} are as they should be.")


def _of_unit(name: str, unit: Unit) -> Iterator[Check]:
    own = shlex.quote(name)  # an instance's name may hold backslashes
    see = f"journalctl -b -u {own} -n 20"
    if unit.active == "failed":
        said = f"{name} failed ({plain(unit.result or 'no word why', 40)})."
        yield Check("units", State.WRONG, said, f"See why: {see}. Then: sudo systemctl start {own}")
    elif not unit.is_needed:
        return
    elif unit.enabled in ("masked", "masked-runtime"):
        mend = f"sudo systemctl unmask {own} && sudo systemctl enable --now {own}"
        yield Check("units", State.WRONG, f"{name} is masked: it can't run.", mend)
    elif unit.enabled == "not there":
        mend = "Install bootwatch again: sudo ./packaging/install"
        yield Check("units", State.WRONG, f"{name} is not there.", mend)
    elif unit.enabled != "enabled":
        mend = f"sudo systemctl enable --now {own}"
        yield Check("units", State.WRONG, f"{name} is not enabled ({plain(unit.enabled, 40)}).", mend)
    elif unit.active != "active" and unit.is_lasting:
        said = f"{name} is not active ({plain(unit.active, 40)})."
        yield Check("units", State.WRONG, said, f"sudo systemctl start {own}; why: systemctl status {own}")


def _rights(found: Gathered) -> Iterator[Check]:
    """Said only where they can be looked at."""
    for said, mend in found.rights or ():
        yield Check("rights", State.WRONG, plain(said, _SAID), mend)
    if found.rights is not None and not found.rights:
        yield Check("rights", State.FINE, "Each folder and file belongs to whom it should.")


_CHECKS: tuple[Callable[[Gathered], Iterator[Check]], ...] = (
    _settings,
    _addresses,
    _delivery,
    _told,
    _reading,
    *KEPT,
    _alert,
    _units,
    _rights,
)
