"""One look at one machine."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime

from bootwatch.model.instant import written
from bootwatch.model.snapshot import Circumstance, Moment, Snapshot, State
from bootwatch.observe.boot_log import read_boot_log
from bootwatch.observe.contents import read_contents
from bootwatch.observe.disks import read_disks
from bootwatch.observe.facts import read_facts
from bootwatch.observe.files import KeepProgram
from bootwatch.observe.machine import Machine
from bootwatch.observe.naming import named_by_entries, tops_of_entries
from bootwatch.observe.package_log import read_package_log
from bootwatch.observe.tpm import read_tpm
from bootwatch.observe.variable_store import read_store
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
    boot_log, tpm, store = read_boot_log(machine), read_tpm(machine), read_store(machine)
    package_log = read_package_log(machine, last.package_log if last else None)
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
        faults=volumes.faults,
        attempts=boot_log.attempts,
        order_seen=boot_log.order_seen,
        tpm_resets=tpm.resets,
        tpm_restarts=tpm.restarts,
        store_size=store.size,
        store_free=store.free,
        packages=package_log.packages,
        package_log=package_log.mark,
    )
    state = State(
        variables=variables.state,
        disks={disk.key: disk for disk in contents if disk.key not in volumes.unread_disks},
        volumes=volumes.found,
        texts=volumes.texts,
        facts=facts,
    )
    about_start = (*boot_log.gaps, *tpm.gaps, *package_log.gaps)
    return Snapshot(circumstance, state, (*gaps, *variables.gaps, *about_start, *disks.gaps, *volumes.gaps))


def utc_now() -> str:
    """Now, as RFC 3339 with Z."""
    return written(datetime.now(UTC))
