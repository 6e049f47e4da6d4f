"""One look at one machine."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime

from bootwatch.model.snapshot import Circumstance, Moment, Snapshot, State
from bootwatch.observe.boot_log import read_boot_log
from bootwatch.observe.contents import read_contents
from bootwatch.observe.disks import read_disks
from bootwatch.observe.facts import read_facts
from bootwatch.observe.files import KeepProgram
from bootwatch.observe.machine import Machine
from bootwatch.observe.naming import named_by_entries, tops_of_entries
from bootwatch.observe.variables import read_variables
from bootwatch.observe.volumes import VolumeReader


def observe(
    machine: Machine,
    moment: Moment,
    *,
    named: Iterable[str] = (),
    keep_program: KeepProgram | None = None,
    last: Circumstance | None = None,
) -> Snapshot:
    """Read the machine. Never raises for what can't be read: that becomes a gap.

    ``named`` are volumes that the baseline holds, read even when nothing else names them. ``keep_program`` is
    handed the SHA-256 and the content of each file that begins with MZ. ``last`` is the circumstance of the
    snapshot before, None where there is none: what the package manager did is told from there on.
    """
    facts, fstab, gaps = read_facts(machine)
    variables = read_variables(machine)
    attempts, log_gaps = read_boot_log(machine)
    disks = read_disks(machine)
    named = {*named, *named_by_entries(variables.state)}
    reader = VolumeReader(machine, named, tops_of_entries(variables.state), fstab, keep_program)
    volumes = reader.read(disks.found)
    contents = read_contents(machine, disks.found, volumes.found)
    circumstance = Circumstance(
        boot_id=machine.text_or_none("proc/sys/kernel/random/boot_id"),
        moment=moment,
        time=utc_now(),
        kernel=machine.text_or_none("proc/sys/kernel/osrelease"),
        variables=variables.circumstance,
        mounts=volumes.mounts,
        free_bytes=volumes.free_bytes,
        dirty=volumes.dirty,
        attempts=attempts,
    )
    state = State(
        variables=variables.state,
        disks={disk.key: disk for disk in contents if disk.key not in volumes.unread_disks},
        volumes=volumes.found,
        texts=volumes.texts,
        facts=facts,
    )
    return Snapshot(circumstance, state, (*gaps, *variables.gaps, *log_gaps, *disks.gaps, *volumes.gaps))


def utc_now() -> str:
    """Now, as RFC 3339 with Z."""
    return datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
