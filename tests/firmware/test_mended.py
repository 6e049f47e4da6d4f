"""What a rehearsal says would help is done to the machine, the loss happens, and the real firmware starts."""

import tempfile
from dataclasses import dataclass
from pathlib import Path

import pytest

from bootwatch.judge.rehearsal import rehearse
from bootwatch.judge.rehearsed import Rehearsed, Remedy
from bootwatch.judge.systems import Systems
from bootwatch.model.gap import Gap
from bootwatch.model.snapshot import State
from bootwatch.model.variable import split_file_name
from tests.firmware.starts import record
from tests.firmware.starts.agreement import disagreement
from tests.firmware.starts.chance import Chance
from tests.firmware.starts.configuration import configuration
from tests.firmware.starts.losses import Victim
from tests.firmware.starts.start import Result
from tests.firmware.starts.test_trials import first_seed
from tests.firmware.starts.trial import Trial

pytestmark = pytest.mark.firmware


@dataclass(frozen=True)
class Mended:
    """`state` is what the rehearsal foresaw after mend and loss, `starts` the system that it was about."""

    seed: int
    what: str
    state: State
    gaps: tuple[Gap, ...]
    result: Result


def mended(seed: int) -> Mended | None:
    """The machine of that seed, mended, harmed and started; None where nothing would help it."""
    with tempfile.TemporaryDirectory(prefix="mended.") as folder:
        trial = Trial.of(configuration(seed).usual(), Path(folder))
        before = trial.look()
        found = rehearse(before.state, before.gaps, Systems.learn([before.state]), None)
        losses = {one.number: one for one in found.losses}
        choices: list[tuple[Remedy, Rehearsed]] = [
            (remedy, losses[number])
            for system in found.systems
            for remedy in system.remedies
            for number in (*remedy.removes, *remedy.if_elsewhere)
        ]
        if not choices:
            return None
        remedy, loss = Chance(f"mended-{seed}").choice(choices)
        victim = Victim(trial, before.state, Chance(f"victim-{seed}"))
        better = remedy.mend.apply(before.state)
        become(victim, before.state, better)
        worse = loss.loss.apply(better)
        become(victim, better, worse)
        what = f"{remedy.mend.what}; then without {loss.loss.what}"
        return Mended(seed, what, worse, before.gaps, trial.start())


def become(victim: Victim, before: State, after: State) -> None:
    """Makes the machine differ from before as the one state does from the other."""
    with victim.trial.machine.variables() as variables:
        for key in before.variables.keys() | after.variables.keys():
            name = (split_file_name(key) or (key, ""))[0]
            if key not in after.variables:
                variables.delete(name)
            elif before.variables.get(key) != after.variables[key]:
                variables.set(name, after.variables[key].data)
    for identity in before.volumes:
        if identity in after.volumes:
            _change_files(victim, before, after, identity)
        elif before.volumes[identity].disk in after.disks:
            victim.lose_volume(identity)
    victim.lose_disks({disk.address for key, disk in before.disks.items() if key not in after.disks})


def _change_files(victim: Victim, before: State, after: State, identity: str) -> None:
    former, later = before.volumes[identity].files, after.volumes[identity].files
    for path, file in former.items():
        if path not in later and not file.is_folder:
            victim.volume(identity).remove(path)
    for path, file in later.items():
        if former.get(path) != file:
            victim.volume(identity).write({path: _content(victim, before, file.sha256)})


def _content(victim: Victim, state: State, sha256: str | None) -> bytes:
    """A file's content, by what it is: a copy has its original somewhere on the machine."""
    held = ((one.identity, file) for one in state.volumes.values() for file in one.files.values())
    volume, original = next((volume, file) for volume, file in held if sha256 and file.sha256 == sha256)
    return victim.volume(volume).read(original.path)


@pytest.mark.parametrize("machines", [4, pytest.param(60, marks=pytest.mark.whole)])
def test_what_would_help_does(machines: int) -> None:
    """Of each machine one remedy and one loss that it removes. The seed in a failure makes it again."""
    made = list(record.side_by_side(mended, machines, first_seed()))
    found = [(one, disagreement(one.state, one.gaps, one.result)) for one in made]
    assert [f"BOOTWATCH_SEED={one.seed}: {one.what}: {why}" for one, why in found if why] == []
