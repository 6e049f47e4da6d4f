"""The firmware's boot manager, simulated on a snapshot (UEFI 2.10 §3.1 and §3.5, and edk2's ways).

In this order: the firmware's own setup where OsIndications asks for it; BootNext, even when it is switched
off or an application; the options of BootOrder that are active and of the boot category; then recovery, which
tries default files, on removable disks first. What fails is passed over without a word. A partition's type
plays no part.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from bootwatch.formats.device_path import DevicePath
from bootwatch.formats.load_option import ACTIVE, CATEGORY_BOOT, LoadOption
from bootwatch.judge.entries import MARK_OF_FIRMWARE, entry_name, read_option, read_order, variable_of
from bootwatch.judge.ground import Ground, Landing, Place
from bootwatch.judge.made_option import file_path
from bootwatch.judge.option_path import NETWORK, OptionPath
from bootwatch.judge.steps import (
    By,
    Candidate,
    NextStart,
    Outcome,
    Route,
    Startup,
    Step,
    next_start_of,
    step_of,
)
from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import State
from bootwatch.model.variable import GLOBAL, entry_number, key

__all__ = ["By", "Candidate", "NextStart", "Outcome", "Route", "Startup", "Step", "simulate"]

_TO_SETUP, _TO_RECOVERY = 0x01, 0x40
_RECOVERY = "PlatformRecovery"


def simulate(state: State, gaps: tuple[Gap, ...] = (), *, failing: frozenset[Place] = frozenset()) -> Startup:
    """What the firmware would do. ``failing`` are programs, by volume and folded path, that give the start
    back instead of starting a system."""
    return _Firmware(Ground(state, gaps, failing)).startup()


@dataclass(frozen=True, slots=True)
class _Option:
    """A load option's variable as the firmware finds it; ``refused`` says why it doesn't count as one."""

    number: int
    option: LoadOption | None
    refused: str = ""
    is_unread: bool = False

    @property
    def name(self) -> str:
        return entry_name(self.number)

    @property
    def label(self) -> str:
        return self.option.description if self.option else ""


class _Firmware:
    def __init__(self, ground: Ground) -> None:
        self.ground = ground
        self.state = ground.state
        self._options: dict[int, _Option] = {}
        self._landings: dict[int, tuple[Landing, ...]] = {}

    def startup(self) -> Startup:
        trail: list[Step] = []
        for step in self._walk():
            trail.append(step)
            if step.outcome is Outcome.STARTS:
                break
        return Startup(next_start_of(trail), tuple(trail), tuple(self._routes()))

    # the walk

    def _walk(self) -> Iterator[Step]:
        wishes = self._wishes
        if wishes & _TO_SETUP:
            why = "OsIndications asks for the firmware's own setup"
            yield Step(By.SETUP, None, "", Outcome.STARTS, why)
        if not wishes & _TO_RECOVERY:
            yield from self._next_steps()
            yield from self._order_steps()
            if not self._is_order_odd:
                yield from self._recreated_steps()
        yield from self._recovery_steps()

    @property
    def _is_order_odd(self) -> bool:
        """An order of an odd length can't be added to: no entries are made for disks (edk2)."""
        order = self.state.variable("BootOrder")
        return order is not None and len(order.data) % 2 == 1

    @cached_property
    def _wishes(self) -> int:
        """OsIndications, as far as the firmware supports it (UEFI 2.10 §8.5.4)."""
        wanted, supported = self._number("OsIndications"), self._number("OsIndicationsSupported")
        return (wanted or 0) & (-1 if supported is None else supported)

    def _number(self, name: str) -> int | None:
        variable = self.state.variable(name)
        return int.from_bytes(variable.data, "little") if variable and len(variable.data) == 8 else None

    def _is_unread(self, variable: str) -> bool:
        return any(gap.covers_variable(variable) for gap in self._variable_gaps)

    @cached_property
    def _variable_gaps(self) -> tuple[Gap, ...]:
        return tuple(gap for gap in self.ground.gaps if gap.kind == "variables")

    def _next_steps(self) -> Iterator[Step]:
        if self._is_unread(key("BootNext")):
            why = "BootNext could not be read"
            yield Step(By.NEXT, None, "", Outcome.UNKNOWN, why, (Landing(None, why, likely=False),))
        variable = self.state.variable("BootNext")
        if variable and len(variable.data) == 2:
            yield self._try(By.NEXT, self._option(int.from_bytes(variable.data, "little")))

    def _order_steps(self) -> Iterator[Step]:
        if self._is_unread(key("BootOrder")):
            yield Step(By.ORDER, None, "", Outcome.UNKNOWN, "the boot order could not be read")
        for number in self._order:
            option = self._option(number)
            skipped = _skipped(option)
            if skipped:
                yield Step(By.ORDER, option.name, option.label, Outcome.PASSED, skipped)
            else:
                yield self._try(By.ORDER, option)

    @cached_property
    def _order(self) -> list[int]:
        return list(dict.fromkeys(read_order(self.state)))

    def _try(self, by: By, option: _Option) -> Step:
        if option.is_unread:
            return Step(by, option.name, "", Outcome.UNKNOWN, "its variable could not be read")
        if option.option is None:
            return Step(by, option.name, "", Outcome.PASSED, option.refused)
        return step_of(by, option.name, option.label, self._landings_of(option))

    def _option(self, number: int) -> _Option:
        """Looked at twice: on the walk, and among all routes."""
        if number not in self._options:
            self._options[number] = self._read(number)
        return self._options[number]

    def _read(self, number: int) -> _Option:
        if self._variable_gaps and self._is_unread(variable_of(number)):
            return _Option(number, None, "its variable could not be read", is_unread=True)
        variable = self.state.variables.get(variable_of(number))
        if variable is None:
            return _Option(number, None, "the entry does not exist")
        found = _parsed(number, variable.data)
        if found.option and found.option.optional_data == MARK_OF_FIRMWARE and self._is_unmade(found.option):
            return _Option(number, None, "the firmware made it for a device, and takes it away again")
        return found

    def _is_unmade(self, option: LoadOption) -> bool:
        """Whether edk2 would delete an entry of its own, since it would make it otherwise today: for a device
        that isn't there, or when somebody edited it."""
        path = OptionPath(self.ground, option.path)
        is_network = any((node.type, node.subtype) in NETWORK for node in option.path.nodes)
        return option.attributes != ACTIVE or not (path.is_device_alone or is_network)

    def _landings_of(self, option: _Option) -> tuple[Landing, ...]:
        if option.number not in self._landings and option.option:
            self._landings[option.number] = OptionPath(self.ground, option.option.path).landings()
        return self._landings[option.number]

    def _recreated_steps(self) -> Iterator[Step]:
        """At each start the firmware makes an entry for each disk that has none, behind all others."""
        for is_removable in (True, False):
            hits = [
                landing
                for disk, landing in self._defaults
                if disk.removable == is_removable and landing.starts is not False
            ]
            if hits:
                yield step_of(By.FALLBACK, None, "", tuple(hits))

    @cached_property
    def _defaults(self) -> list[tuple[Any, Landing]]:
        return [(disk, self.ground.default_of(disk)) for disk in self.ground.disks]

    def _recovery_steps(self) -> Iterator[Step]:
        """PlatformRecovery####; where the snapshot holds none, the default file wherever it is."""
        names = [one for one in self.state.variables if one.startswith(_RECOVERY) and one.endswith(GLOBAL)]
        options = [_parsed(0, self.state.variables[name].data) for name in sorted(names)]
        paths = [(one.label, one.option.path) for one in options if one.option]
        default = DevicePath.parse(file_path(self.ground.architecture.default_file))
        for label, path in paths or [("", default)]:
            yield step_of(By.FALLBACK, None, label, OptionPath(self.ground, path).recovery())

    # all routes

    def _routes(self) -> Iterator[Route]:
        listed = set(self._order)
        others = sorted(number for name in self.state.variables if (number := entry_number(name)) is not None)
        for number in (*self._order, *(number for number in others if number not in listed)):
            yield from self._routes_of(self._option(number), number in listed)
        for _, landing in self._defaults:
            if landing.volume and (landing.chosen or landing.starts is None):
                yield _route(By.FALLBACK, None, landing, unattended=True)

    def _routes_of(self, option: _Option, is_listed: bool) -> Iterator[Route]:
        if option.option is None:
            if option.is_unread or self.state.variables.get(variable_of(option.number)):
                landing = Landing(None if option.is_unread else False, option.refused)
                yield _route(By.ORDER if is_listed else By.CHOICE, option, landing, unattended=is_listed)
            return
        is_tried = is_listed and not _skipped(option)
        for landing in self._landings_of(option):
            yield _route(By.ORDER if is_tried else By.CHOICE, option, landing, unattended=is_tried)


def _parsed(number: int, data: bytes) -> _Option:
    option = read_option(data)
    return _Option(number, option, "" if option else "its variable is malformed")


def _skipped(option: _Option) -> str:
    """Why an option of the boot order isn't tried; "" when it is."""
    if option.option is None:
        return "" if option.is_unread else option.refused
    if not option.option.active:
        return "it is switched off"
    if option.option.category != CATEGORY_BOOT:
        return "it is no boot entry but an application's: started only on request"
    return ""


def _route(by: By, option: _Option | None, landing: Landing, *, unattended: bool) -> Route:
    return Route(
        by=by,
        entry=option.name if option else None,
        label=option.label if option else "",
        volume=landing.volume,
        file=landing.file,
        starts=landing.starts,
        why=landing.why,
        unattended=unattended,
    )
