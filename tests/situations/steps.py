"""The snapshots of a situation: what happened before each, and what was so when it was taken.

What can happen, in ``baseline`` (before the snapshot that is saved) and in each step of ``then``:

    entry NAME: gone | gone but listed | inactive | active | {number, label, on, file, data, device, made by}
    order: [NAME, ...]            next: NAME            timeout: SECONDS        secure boot: on | off
    files on VOLUME: {PATH: gone | renamed to PATH | program NAME | data NAME | empty | a text}
    volume NAME: gone | {type, id, number, serial, label}; a new serial number means an empty file system
    disk NAME: plugged in | gone | {at, removable, id, partitions}
    variable NAME: gone | HEX    firmware: {version, date}    facts: {...}    fstab: {FOLDER: VOLUME OPTIONS}
    started by: ENTRY    loader from: VOLUME    mounted: {VOLUME: FOLDER}    free: {VOLUME: SIZE}
    store: {size, free}    tpm: COUNT | none    faults: {VOLUME: {PATH: WORDS}}

And of a single snapshot: ``moment``, ``start: new``, ``clock``, ``packages: [updated NAME VERSION]``,
``log: [{file, on, came back}]``, ``order seen``, ``gaps: [{volume: NAME, path, why}]``, ``expected``, and
``restored: [NUMBER]``, the entries that a restore wrote just before.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from bootwatch.model.attempt import Attempt, Origin
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.package import Action, PackageChange
from bootwatch.model.snapshot import Circumstance, Moment, Snapshot
from bootwatch.model.variable import LOADER_INTERFACE, Variable, key
from tests.situations.contents import size
from tests.situations.machine import Machine

BEGIN = "2026-03-02T08:00:00Z"
# Of a snapshot's own: nothing of it holds for the next one.
_ONCE = ("packages", "log", "order seen", "gaps")


class Course:
    """A machine as it goes on, a snapshot at each step.

    A snapshot at boot begins a new start, which the TPM counts; every other one belongs to the start before,
    unless ``start: new`` says that nobody looked when it began. An hour lies between two snapshots.
    """

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self._starts = 0
        self._time = BEGIN
        self._doers: dict[str, Callable[[str, Any], None]] = {
            "entry": machine.set_entry,
            "disk": machine.set_disk,
            "volume": machine.set_volume,
            "variable": machine.set_variable,
            "files": self._files,
        }

    def change(self, said: dict[str, Any]) -> None:
        """Let happen what a step says; raises ValueError for what nobody knows."""
        for name, value in said.items():
            word, _, rest = name.partition(" ")
            if word in self._doers and rest:
                self._doers[word](rest.removeprefix("on "), value)
            elif not self._is_set(name, value):
                raise ValueError(f"nothing is known of {name!r}")

    def _is_set(self, name: str, value: Any) -> bool:
        """Whether it is one of the things that a machine has only once."""
        machine = self.machine
        if name == "order":
            machine.order = list(value)
        elif name == "next":
            data = b"" if value == "none" else machine.number(value).to_bytes(2, "little")
            machine.variables[key("BootNext")] = Variable(7, data)
        elif name in ("firmware", "fstab", "facts"):
            setattr(machine, name, {**getattr(machine, name), **value})
        elif name == "secure boot":
            machine.secure_boot = value == "on"
        elif name == "timeout":
            machine.timeout = int(value)
        elif name in (*_ONCE, "started by", "loader from", "tpm", "store"):
            machine.now[name] = value
        elif name in ("free", "mounted", "faults"):
            machine.now[name] = {**machine.now.get(name, {}), **value}
        else:
            return False
        return True

    def _files(self, volume: str, said: Any) -> None:
        for path, value in dict(said).items():
            self.machine.shelves[volume].change(path, value)

    def step(self, said: dict[str, Any]) -> Snapshot:
        """What happened, then a look."""
        said = {name: value for name, value in said.items() if name not in ("expected", "restored")}
        moment = Moment(said.pop("moment"))
        is_new = moment is Moment.BOOT or said.pop("start", "") == "new" or not self._starts
        if is_new:
            self._starts += 1
            if self._starts > 1 and "next" not in said:
                self.machine.variables.pop(key("BootNext"), None)  # the firmware takes it away
        if is_new and self.machine.now["tpm"] != "none" and "tpm" not in said:
            self.machine.now["tpm"] += 1
        self._time = str(said.pop("clock", _later(self._time)))
        for name in _ONCE:
            self.machine.now.pop(name, None)
        self.change(said)
        return Snapshot(self._circumstance(moment), self.machine.state(), self._gaps())

    def _circumstance(self, moment: Moment) -> Circumstance:
        machine, now = self.machine, self.machine.now
        store = now.get("store", {})
        resets = None if now["tpm"] == "none" else int(now["tpm"])
        return Circumstance(
            boot_id=str(uuid.uuid5(uuid.NAMESPACE_OID, f"start {self._starts}")),
            moment=moment,
            time=self._time,
            kernel="7.1",
            variables=self._volatile(),
            mounts={machine.identity(volume): folder for volume, folder in self._there("mounted") if folder},
            free_bytes={machine.identity(volume): size(free) for volume, free in self._there("free")},
            attempts=tuple(self._attempt(one) for one in now.get("log", ())),
            order_seen=tuple(map(machine.number, now["order seen"])) if "order seen" in now else None,
            tpm_resets=resets,
            tpm_restarts=None if resets is None else 0,
            store_size=size(store["size"]) if store else None,
            store_free=size(store["free"]) if store else None,
            faults={machine.identity(volume): dict(held) for volume, held in self._there("faults")},
            packages=tuple(_package(one) for one in now.get("packages", ())),
        )

    def _there(self, what: str) -> list[tuple[str, Any]]:
        """Of what is said by volume, what is said of those that are there."""
        present = {part for one in self.machine.present().values() for part in one["partitions"]}
        return [(name, value) for name, value in self.machine.now.get(what, {}).items() if name in present]

    def _volatile(self) -> dict[str, Variable]:
        """BootCurrent and the loader's own word for where it came from."""
        now, found = self.machine.now, {}
        if now.get("started by") in self.machine.entries:
            number = self.machine.number(now["started by"])
            found[key("BootCurrent")] = Variable(6, number.to_bytes(2, "little"))
        if now.get("loader from"):
            text = self.machine.partition(now["loader from"])["id"].upper() + "\0"
            name = key("LoaderDevicePartUUID", LOADER_INTERFACE)
            found[name] = Variable(6, text.encode("utf-16-le"))
        return found

    def _attempt(self, said: dict[str, Any]) -> Attempt:
        loader = Origin(self.machine.identity(said["on"]), said["file"]) if "file" in said else None
        return Attempt(loader, returned=bool(said.get("came back")))

    def _gaps(self) -> tuple[Gap, ...]:
        return tuple(self._gap(one) for one in self.machine.now.get("gaps", ()))

    def _gap(self, said: dict[str, Any]) -> Gap:
        """``{volume or disk or variables: NAME, path, why}``."""
        kind = next(iter(said))
        name = self.machine.identity(said[kind]) if kind == "volume" else str(said[kind])
        return Gap(kind, name, Reason(said["why"]), "it gave an error", said.get("path"))


def _package(said: str) -> PackageChange:
    """``updated linux 7.2``"""
    action, package, *version = said.split()
    return PackageChange(Action(action), package, after=" ".join(version))


def _later(time: str) -> str:
    after = datetime.fromisoformat(time) + timedelta(hours=1)
    return after.isoformat(timespec="seconds").replace("+00:00", "Z")
