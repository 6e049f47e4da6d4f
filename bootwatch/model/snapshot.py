"""The machine's start-up state at one moment."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from bootwatch.model.attempt import Attempt
from bootwatch.model.disk import Disk
from bootwatch.model.gap import Gap
from bootwatch.model.known import known_fields
from bootwatch.model.moment import Moment as Moment
from bootwatch.model.package import LogMark, PackageChange
from bootwatch.model.variable import LOADER_INTERFACE, Variable, key
from bootwatch.model.volume import File, Volume

Part = dict[str, Any]
VOLUME_PART = "volume:"
HEADER = "volume"


@dataclass(frozen=True)
class State:
    """What is compared. Raw bytes; parsing is a view of them.

    ``variables`` by their file name in efivarfs; ``texts`` holds the content of small text files by its
    SHA-256; ``facts`` the machine's own names (machine-id, host name, DMI, the running system) and fstab's
    lines for boot volumes.
    """

    variables: dict[str, Variable] = field(default_factory=dict)
    disks: dict[str, Disk] = field(default_factory=dict)
    volumes: dict[str, Volume] = field(default_factory=dict)
    texts: dict[str, bytes] = field(default_factory=dict)
    facts: dict[str, Any] = field(default_factory=dict)

    def variable(self, name: str) -> Variable | None:
        """A variable of the global namespace."""
        return self.variables.get(key(name))

    def file(self, volume: str | None, path: str | None) -> File | None:
        """The file or folder at ``path`` on a volume, whatever its case."""
        held = self.volumes.get(volume or "")
        return held.file(path) if held and path else None

    def parts(self) -> dict[str, Part]:
        """The state as parts of JSON lines by key: what the history stores and the baseline writes."""
        parts: dict[str, Part] = {
            "facts": dict(self.facts),
            "variables": {name: variable.to_json() for name, variable in self.variables.items()},
            "tables": {name: disk.to_json() for name, disk in self.disks.items()},
            "texts": {digest: _text_to_json(data) for digest, data in self.texts.items()},
        }
        for identity, volume in self.volumes.items():
            lines: Part = {path: file.to_json() for path, file in volume.files.items()}
            parts[VOLUME_PART + identity] = {HEADER: volume.header_json(), **lines}
        return parts

    @classmethod
    def from_parts(cls, parts: dict[str, Part]) -> State:
        return cls(
            variables={name: Variable.from_json(item) for name, item in parts.get("variables", {}).items()},
            disks={name: Disk.from_json(item) for name, item in parts.get("tables", {}).items()},
            volumes={
                name.removeprefix(VOLUME_PART): _volume_from_part(part)
                for name, part in parts.items()
                if name.startswith(VOLUME_PART)
            },
            texts={digest: _text_from_json(item) for digest, item in parts.get("texts", {}).items()},
            facts=dict(parts.get("facts", {})),
        )


def _volume_from_part(part: Part) -> Volume:
    # A file's path begins with a backslash, so it can't be taken for the header.
    files = {path: File.from_json(path, item) for path, item in part.items() if path != HEADER}
    return Volume(**known_fields(Volume, part[HEADER]), files=files)


def _text_to_json(data: bytes) -> dict[str, str]:
    try:
        return {"utf-8": data.decode("utf-8")}
    except UnicodeDecodeError:
        return {"hex": data.hex()}


def _text_from_json(document: dict[str, str]) -> bytes:
    return document["utf-8"].encode() if "utf-8" in document else bytes.fromhex(document["hex"])


@dataclass(frozen=True)
class Circumstance:
    """What was so when the snapshot was taken and is no drift. ``time`` is UTC in RFC 3339 with Z.

    ``variables`` holds BootCurrent and the boot loader interface's; ``mounts``, ``free_bytes`` and ``dirty``
    go by the volume's identity; ``attempts`` are the boot options that the firmware's log says it called in
    this start, empty where nothing says so, and ``order_seen`` the numbers in BootOrder as the firmware
    itself read it then. ``tpm_resets`` and ``tpm_restarts`` are the TPM's counters (TPM 2.0 part 2,
    TPMS_CLOCK_INFO), ``store_size`` and ``store_free`` bytes of the firmware's variable store; None where
    they can't be told. ``faults`` are files that the file system itself holds badly: what is wrong, by volume
    and path. ``packages`` is what this system's package manager did since the snapshot before,
    ``package_log`` how far its log was read.
    """

    boot_id: str | None
    moment: Moment
    time: str
    kernel: str | None = None
    variables: dict[str, Variable] = field(default_factory=dict)
    mounts: dict[str, str] = field(default_factory=dict)
    free_bytes: dict[str, int] = field(default_factory=dict)
    dirty: dict[str, bool] = field(default_factory=dict)
    attempts: tuple[Attempt, ...] = ()
    order_seen: tuple[int, ...] | None = None
    tpm_resets: int | None = None
    tpm_restarts: int | None = None
    store_size: int | None = None
    store_free: int | None = None
    faults: dict[str, dict[str, str]] = field(default_factory=dict)
    packages: tuple[PackageChange, ...] = ()
    package_log: LogMark | None = None

    def to_json(self) -> dict[str, Any]:
        return {
            **vars(self),
            "moment": self.moment.value,
            "variables": {name: variable.to_json() for name, variable in self.variables.items()},
            "attempts": [attempt.to_json() for attempt in self.attempts],
            "order_seen": None if self.order_seen is None else list(self.order_seen),
            "packages": [change.to_json() for change in self.packages],
            "package_log": self.package_log.to_json() if self.package_log else None,
        }

    @property
    def current_entry(self) -> int | None:
        """The number in BootCurrent (UEFI 2.10 §3.3): by which entry this start came."""
        variable = self.variables.get(key("BootCurrent"))
        return int.from_bytes(variable.data, "little") if variable and len(variable.data) == 2 else None

    @property
    def loader_partition(self) -> str:
        """The PARTUUID that the boot loader says it came from (Boot Loader Interface), lower case; "" where
        none says so."""
        variable = self.variables.get(key("LoaderDevicePartUUID", LOADER_INTERFACE))
        text = variable.data.decode("utf-16-le", "replace") if variable else ""
        return text.partition("\0")[0].strip().lower()

    @classmethod
    def from_json(cls, document: dict[str, Any]) -> Circumstance:
        variables = {name: Variable.from_json(item) for name, item in document["variables"].items()}
        seen, mark = document.get("order_seen"), document.get("package_log")
        own = {
            "moment": Moment(document["moment"]),
            "variables": variables,
            "attempts": tuple(Attempt.from_json(item) for item in document.get("attempts", ())),
            "order_seen": None if seen is None else tuple(seen),
            "packages": tuple(PackageChange.from_json(item) for item in document.get("packages", ())),
            "package_log": LogMark.from_json(mark) if mark else None,
        }
        return cls(**{**known_fields(cls, document), **own})


@dataclass(frozen=True)
class Snapshot:
    """Circumstance, state, and what could not be read. ``number`` is None until it is recorded."""

    circumstance: Circumstance
    state: State
    gaps: tuple[Gap, ...] = ()
    number: int | None = None

    def numbered(self, number: int) -> Snapshot:
        return replace(self, number=number)
