"""The log of what the firmware measured into the TPM: TCG PC Client Platform Firmware Profile 1.05 §10.2.

The first event has the old form (TCG_PCClientPCREvent): u32 register (PCR), u32 type, SHA-1 digest of 20
bytes, u32 length, the event's data. If its data begin with "Spec ID Event03", the log is crypto agile: they
name the hash algorithms (u16 number, u16 size of a digest), and all other events (TCG_PCR_EVENT2) have u32
register, u32 type, u32 count and so many digests (u16 algorithm, the digest), u32 length, data. Otherwise
all events have the old form.
"""

import struct
from dataclasses import dataclass, field

from . import FormatError, event_data
from .event_data import LoadedImage, MeasuredVariable
from .problems import bounded

_OLD = struct.Struct("<II20sI")
_NEW = struct.Struct("<III")
_LENGTH = struct.Struct("<I")
_ALGORITHM = struct.Struct("<H")
# Signature, class of platform, version (minor, major), errata, width of numbers, count of algorithms.
_AGILE = struct.Struct("<16sIBBBBI")
_AGILE_SIGNATURE = b"Spec ID Event03\0"
_AGILE_ALGORITHM = struct.Struct("<HH")
# What the TPM's library (part 2, §6.3) calls the hashes, and the size of their digests.
_ALGORITHMS = {
    0x0004: ("sha1", 20),
    0x000B: ("sha256", 32),
    0x000C: ("sha384", 48),
    0x000D: ("sha512", 64),
    0x0012: ("sm3_256", 32),
    0x0027: ("sha3_256", 32),
    0x0028: ("sha3_384", 48),
    0x0029: ("sha3_512", 64),
}
MAX_EVENTS = 65536
MAX_ALGORITHMS = 16


@dataclass(frozen=True, slots=True)
class Event:
    """One event: register, type, digests by the algorithm's name, and what was measured or said about it.

    `offset` is where in the log it begins. The views are None for events of other types, and for data that
    are damaged.
    """

    pcr: int
    type: int
    digests: dict[str, bytes]
    data: bytes
    offset: int = 0

    @property
    def type_name(self) -> str:
        """The standard's name of the type; a number in hex if it has none."""
        return event_data.NAMES.get(self.type) or f"0x{self.type:08X}"

    @property
    def variable(self) -> MeasuredVariable | None:
        """The variable, for EV_EFI_VARIABLE_BOOT and its like."""
        return event_data.variable(self.data) if self.type in event_data.VARIABLES else None

    @property
    def image(self) -> LoadedImage | None:
        """The loaded program, for EV_EFI_BOOT_SERVICES_APPLICATION and the two types of drivers."""
        return event_data.image(self.data) if self.type in event_data.IMAGES else None

    @property
    def action(self) -> str | None:
        """The text of EV_EFI_ACTION and EV_ACTION."""
        return event_data.action(self.data) if self.type in event_data.ACTIONS else None

    @property
    def separator(self) -> int | None:
        """The number of EV_SEPARATOR."""
        return event_data.separator(self.data) if self.type == event_data.EV_SEPARATOR else None


@dataclass(frozen=True, slots=True)
class EventLog:
    """A log: its events, the algorithms that it names (size of a digest by name), the bytes that belong to no
    whole event, and what is wrong."""

    raw: bytes
    events: list[Event]
    algorithms: dict[str, int]
    rest: bytes = b""
    problems: list[str] = field(default_factory=list)

    @classmethod
    def parse(cls, data: bytes) -> "EventLog":
        """Read a log up to its end, or to where it is damaged. FormatError when not even the first event is
        whole.

        >>> old = bytes.fromhex("05000000 07000080") + bytes(20) + bytes.fromhex("04000000") + b"Boot"
        >>> log = EventLog.parse(old)
        >>> log.events[0].pcr, log.events[0].type_name, log.events[0].action, log.problems
        (5, 'EV_EFI_ACTION', 'Boot', [])
        """
        reading = _Reading(bytes(data))
        reading.events()
        return cls(
            reading.data,
            reading.found,
            dict(reading.algorithms.values()),
            reading.data[reading.at :],
            bounded(reading.problems),
        )

    def __bytes__(self) -> bytes:
        return self.raw


class _Damaged(Exception):
    """The event at hand cannot be read: says why. Never leaves this module."""


@dataclass(slots=True)
class _Reading:
    """The state of one call of `EventLog.parse`; `at` is behind the last whole event."""

    data: bytes
    at: int = 0
    found: list[Event] = field(default_factory=list)
    algorithms: dict[int, tuple[str, int]] = field(default_factory=dict)
    problems: list[str] = field(default_factory=list)

    def events(self) -> None:
        try:
            self._add(self._old())
        except _Damaged as damage:
            raise FormatError(f"not a log of measurements: {damage}") from None
        try:
            form = self._new if self._is_agile(self.found[0]) else self._old
            while self.at < len(self.data):
                if len(self.found) == MAX_EVENTS:
                    raise _Damaged(f"more than {MAX_EVENTS} events")
                self._add(form())
        except _Damaged as damage:
            left = len(self.data) - self.at
            self.problems.append(
                f"event at byte {self.at}: {damage}; the last {left} bytes are not looked at"
            )

    def _add(self, event: tuple[Event, int]) -> None:
        self.found.append(event[0])
        self.at = event[1]

    def _old(self) -> tuple[Event, int]:
        """The event in the old form, and where it ends."""
        start = self.at
        if len(self.data) - start < _OLD.size:
            raise _Damaged(f"{len(self.data) - start} bytes are too few")
        pcr, kind, digest, length = _OLD.unpack_from(self.data, start)
        content, end = self._content(start + _OLD.size, length)
        return Event(pcr, kind, {"sha1": digest}, content, start), end

    def _new(self) -> tuple[Event, int]:
        """The crypto agile event, and where it ends."""
        start = self.at
        if len(self.data) - start < _NEW.size:
            raise _Damaged(f"{len(self.data) - start} bytes are too few")
        pcr, kind, count = _NEW.unpack_from(self.data, start)
        if not 0 < count <= MAX_ALGORITHMS:
            raise _Damaged(f"a count of {count} digests cannot be")
        digests: dict[str, bytes] = {}
        at = start + _NEW.size
        for _ in range(count):
            at = self._digest(at, digests)
        if len(digests) < count:
            self.problems.append(f"event at byte {start}: two digests of one algorithm")
        if len(self.data) - at < _LENGTH.size:
            raise _Damaged("it ends before its length")
        content, end = self._content(at + _LENGTH.size, _LENGTH.unpack_from(self.data, at)[0])
        return Event(pcr, kind, digests, content, start), end

    def _digest(self, at: int, digests: dict[str, bytes]) -> int:
        """Add the digest at that byte; where it ends."""
        if len(self.data) - at < _ALGORITHM.size:
            raise _Damaged("it ends within its digests")
        (number,) = _ALGORITHM.unpack_from(self.data, at)
        known = self.algorithms.get(number) or _ALGORITHMS.get(number)
        if known is None:
            raise _Damaged(f"the log does not say how long a digest of algorithm 0x{number:04X} is")
        name, size = known
        at += _ALGORITHM.size
        if len(self.data) - at < size:
            raise _Damaged("it ends within its digests")
        digests.setdefault(name, self.data[at : at + size])
        return at + size

    def _content(self, start: int, length: int) -> tuple[bytes, int]:
        left = len(self.data) - start
        if length > left:
            raise _Damaged(f"its data are {length} bytes long, but only {left} are left")
        return self.data[start : start + length], start + length

    def _is_agile(self, first: Event) -> bool:
        """Whether the first event says so; takes in the algorithms that it names."""
        if first.type != event_data.EV_NO_ACTION or not first.data.startswith(_AGILE_SIGNATURE):
            self.algorithms[0x0004] = _ALGORITHMS[0x0004]
            return False
        left = len(first.data) - _AGILE.size
        count = _AGILE.unpack_from(first.data)[-1] if left >= 0 else 0
        fitting = min(count, max(left, 0) // _AGILE_ALGORITHM.size, MAX_ALGORITHMS)
        if count == 0 or fitting < count:
            self.problems.append(f"event at byte 0: its list of {count} algorithms is empty or does not fit")
        for index in range(fitting):
            number, size = _AGILE_ALGORITHM.unpack_from(
                first.data, _AGILE.size + index * _AGILE_ALGORITHM.size
            )
            name, usual = _ALGORITHMS.get(number) or (f"0x{number:04X}", size)
            self.algorithms[number] = (name, size)
            if size != usual:
                self.problems.append(f"event at byte 0: digests of {name} have {usual} bytes, not {size}")
        return True
