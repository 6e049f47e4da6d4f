"""Small EFI programs from efi/, built by clang for each kind of firmware, that play the systems."""

from enum import StrEnum
from pathlib import Path

from tests.firmware import cache, tool

SOURCES = Path(__file__).parent / "efi"


class Architecture(StrEnum):
    """The suffix of the default file (UEFI 2.10 §3.5.1.1, table 3.3) is the name."""

    X64 = "X64"
    IA32 = "IA32"
    AA64 = "AA64"


TARGETS = {
    Architecture.X64: "x86_64-unknown-windows",
    Architecture.IA32: "i686-unknown-windows",
    Architecture.AA64: "aarch64-unknown-windows",
}
VARIANTS: dict[str, list[str]] = {
    "witness": ["witness.c"],  # says where it was loaded from, switches off
    "leaver": ["witness.c", "-DLEAVE=EFI_ABORTED"],  # says so and returns an error, as a menu that is left
    "fernwick": ["witness.c", '-DWHO="fernwick"'],  # the same under a system's name
    "quarry": ["witness.c", '-DWHO="quarry"'],
    "ender": ["witness.c", "-DLEAVE=EFI_SUCCESS"],  # says so and returns success
    "texts": ["texts.c"],  # gives the firmware's own text of device paths, switches off
    "measured": ["measured.c"],  # gives the log of what the firmware measured, switches off
}
FLAGS = [
    *("-std=c11", "-O1", "-Wall", "-Wextra", "-Werror", "-ffreestanding", "-fshort-wchar"),
    *("-mno-stack-arg-probe", "-nostdlib", "-fuse-ld=lld"),
    *("-Wl,-entry:efi_main", "-Wl,-subsystem:efi_application", "-Wl,-timestamp:0"),
]


def program(name: str, architecture: Architecture = Architecture.X64) -> bytes:
    """The program of that name (see VARIANTS) as a PE image for that architecture."""
    recipe = [*cache.tree(SOURCES), repr((TARGETS, VARIANTS, FLAGS))]
    return (cache.cached("programs", recipe, _build) / f"{name}-{architecture}.efi").read_bytes()


def _build(folder: Path) -> None:
    for architecture, target in TARGETS.items():
        for name, (source, *options) in VARIANTS.items():
            output = folder / f"{name}-{architecture}.efi"
            tool.run(["clang", "-target", target, *FLAGS, *options, "-o", output, SOURCES / source])
