"""What may lie where a loader should."""

import struct
from collections.abc import Callable

from tests.firmware.programs import Architecture, program
from tests.firmware.starts.chance import Chance

FOLDER = None  # stands for a folder of that name
_OTHERS = {
    Architecture.X64: (Architecture.AA64, Architecture.IA32),
    Architecture.IA32: (Architecture.X64, Architecture.AA64),
    Architecture.AA64: (Architecture.X64, Architecture.IA32),
}
_SUBSYSTEM, _HEADERS = 0x5C, 264  # from the PE signature on
_DRIVERS = (11, 12)
USUAL = {
    "witness": 68,
    "leaver": 10,
    "text": 7,
    "empty": 4,
    "folder": 3,
    "other machine": 6,
    "cut": 5,
    "driver": 4,
    "trailing bytes": 3,
}


def content(chance: Chance, kind: str, architecture: Architecture) -> bytes | None:
    """The bytes of one; FOLDER where it is a folder."""
    return _KINDS[kind](chance, architecture)


def _program(name: str) -> Callable[[Chance, Architecture], bytes]:
    return lambda _, architecture: program(name, architecture)


def _other(chance: Chance, architecture: Architecture) -> bytes:
    return program("witness", chance.choice(_OTHERS[architecture]))


def _cut(chance: Chance, architecture: Architecture) -> bytes:
    """Its end is missing: within the headers, right behind them, in a section, one byte."""
    whole = program("witness", architecture)
    headers = _signature(whole) + _HEADERS
    ends = [
        2,
        63,
        64,
        headers - 1,
        headers,
        headers + 40,
        chance.randrange(headers, len(whole)),
        len(whole) - 1,
    ]
    return whole[: chance.choice(ends)]


def _driver(chance: Chance, architecture: Architecture) -> bytes:
    made = bytearray(program("witness", architecture))
    made[_signature(bytes(made)) + _SUBSYSTEM] = chance.choice(_DRIVERS)
    return bytes(made)


def _signature(image: bytes) -> int:
    (at,) = struct.unpack_from("<I", image, 0x3C)
    return int(at)


_KINDS: dict[str, Callable[[Chance, Architecture], bytes | None]] = {
    "witness": _program("witness"),
    "leaver": _program("leaver"),
    "text": lambda chance, _: b"# not a program\r\n" * chance.randint(1, 40),
    "empty": lambda _, __: b"",
    "folder": lambda _, __: FOLDER,
    "other machine": _other,
    "cut": _cut,
    "driver": _driver,
    "trailing bytes": lambda chance, architecture: program("witness", architecture) + chance.randbytes(9),
}
