"""Whether a machine's firmware would start a stick by its default file: the stick as one more disk. Pure."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from bootwatch.formats.pe import Image
from bootwatch.judge.altered import usual
from bootwatch.judge.architecture import architecture_of
from bootwatch.judge.ground import Ground
from bootwatch.judge.startup import By, NextStart, Startup, simulate
from bootwatch.judge.trust import SecureBoot, Verdict
from bootwatch.model.disk import Disk
from bootwatch.model.gap import Gap
from bootwatch.model.path import fold
from bootwatch.model.snapshot import State
from bootwatch.model.volume import File, Program, Volume

_STICK = "fat:stick"  # no volume has that identity
_REFUSED = "Secure Boot refuses the shell ({}), unless it is switched off in the firmware's setup"


@dataclass(frozen=True)
class Stick:
    """``address`` is the disk's sysfs path below /sys/devices, "" where it isn't known; ``image`` the program
    that lies there as the default file."""

    address: str
    removable: bool
    image: Image


@dataclass(frozen=True)
class Answer:
    """``starts`` None: it can't be told. ``why`` is a clause; it may carry hostile characters."""

    starts: bool | None
    why: str

    def to_json(self) -> dict[str, Any]:
        return dict(vars(self))


@dataclass(frozen=True)
class StickStart:
    """``chosen``: by a person, in the firmware's menu; ``by_itself``: at the next start, with the stick in;
    ``at_last``: once nothing before it starts any more."""

    chosen: Answer
    by_itself: Answer
    at_last: bool

    def to_json(self) -> dict[str, Any]:
        return {
            "chosen": self.chosen.to_json(),
            "by_itself": self.by_itself.to_json(),
            "at_last": self.at_last,
        }


def stick_start(state: State, gaps: tuple[Gap, ...], stick: Stick) -> StickStart:
    """The stick in the machine that ``state`` shows, whether or not it was in then."""
    return _Tried(usual(state), gaps, stick).told()


@dataclass(frozen=True)
class _Tried:
    state: State
    gaps: tuple[Gap, ...]
    stick: Stick

    def told(self) -> StickStart:
        chosen = self.chosen
        if chosen.starts is False:
            return StickStart(chosen, chosen, False)
        itself = self._by_itself(self._startup.next_start)
        if itself.starts and chosen.starts is None:
            itself = chosen
        at_last = any(one.volume == _STICK and one.unattended for one in self._startup.routes)
        return StickStart(chosen, itself, at_last)

    @cached_property
    def chosen(self) -> Answer:
        landing = Ground(self._with_stick, self.gaps).default_on(self._volume)
        trust = SecureBoot.of(self.state, self.gaps).judge(self.stick.image)
        if not landing.starts or trust.verdict is Verdict.ALLOWED:
            return Answer(landing.starts, landing.why)
        if trust.verdict is Verdict.REFUSED:
            return Answer(False, _REFUSED.format(trust.why))
        return Answer(None, f"whether Secure Boot lets the shell run can't be told: {trust.why}")

    @cached_property
    def _startup(self) -> Startup:
        return simulate(self._with_stick, self.gaps)

    def _by_itself(self, following: NextStart) -> Answer:
        if following.volume == _STICK and following.certain:
            return Answer(True, "nothing else starts before it")
        if following.volume == _STICK or any(one.volume == _STICK for one in following.candidates):
            return Answer(None, "what the firmware tries before it can't be told")
        if following.by is By.NOTHING:
            return Answer(False, "the firmware doesn't come to it")
        name = f'"{following.label}"' if following.label else "a default file of another disk"
        return Answer(False, f"{name} starts before it")

    @cached_property
    def _with_stick(self) -> State:
        """Instead of what was at that place."""
        held = self.state
        gone = {key for key, one in held.disks.items() if one.address == self.stick.address}
        disks = {key: one for key, one in held.disks.items() if key not in gone}
        volumes = {key: one for key, one in held.volumes.items() if one.disk not in gone}
        disk = Disk(
            _STICK, "none", self.stick.address, 8 << 30, 512, self.stick.removable, "", {}, partitions=()
        )
        return replace(held, disks={**disks, _STICK: disk}, volumes={**volumes, _STICK: self._volume})

    @cached_property
    def _volume(self) -> Volume:
        path = architecture_of(self.state).default_file
        image = self.stick.image
        program = Program(image.machine, image.subsystem, image.declared_size)
        file = File(path, image.real_size, "", fold(path), program=program)
        return Volume(_STICK, _STICK, None, None, 0, 8 << 30, 32, None, "", {path: file})
