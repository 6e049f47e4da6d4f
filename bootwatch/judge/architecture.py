"""Which programs a machine's firmware runs (UEFI 2.10 §2.1.1, §3.5.1.1)."""

from __future__ import annotations

from dataclasses import dataclass

from bootwatch.model.snapshot import State

_BY_KERNEL = {
    "x86_64": "X64",
    "i386": "IA32",
    "i486": "IA32",
    "i586": "IA32",
    "i686": "IA32",
    "aarch64": "AA64",
    "arm": "ARM",
    "armv7l": "ARM",
    "riscv64": "RISCV64",
    "loongarch64": "LOONGARCH64",
}
_MACHINES = {
    "IA32": (0x014C,),
    "X64": (0x8664,),
    "AA64": (0xAA64,),
    "ARM": (0x01C2, 0x01C0, 0x01C4),
    "RISCV64": (0x5064,),
    "LOONGARCH64": (0x6264,),
}
NAMES = tuple(_MACHINES)


@dataclass(frozen=True)
class Architecture:
    """The firmware's: ``name`` as UEFI spells it in BOOT<name>.EFI."""

    name: str

    @property
    def default_file(self) -> str:
        """Where the firmware looks on a medium that no entry names a file for."""
        return f"\\EFI\\BOOT\\BOOT{self.name}.EFI"

    def runs(self, machine: int) -> bool:
        """Whether the firmware runs programs whose PE header names this machine."""
        return machine in _MACHINES.get(self.name, ())


def architecture_of(state: State) -> Architecture:
    """The firmware's architecture, which can be narrower than the kernel's.

    Where the snapshot doesn't say it, X64.
    """
    name = _BY_KERNEL.get(str(state.facts.get("architecture") or ""), "X64")
    narrow = state.facts.get("firmware_bits") == 32
    return Architecture("IA32" if narrow and name == "X64" else name)
