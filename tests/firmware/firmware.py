"""The firmwares that Debian packages, and the emulated PC that each is for. Always emulated: the kernel's
virtualisation is not there everywhere, and breaks the firmware where it is nested."""

from dataclasses import dataclass
from pathlib import Path

from tests.firmware.programs import Architecture


@dataclass(frozen=True)
class Firmware:
    """One build of the firmware: QEMU's arguments, the code, a fresh variable store."""

    architecture: Architecture
    arguments: tuple[str, ...]
    code: Path
    variables: Path

    @property
    def default_file(self) -> str:
        """Where removable media have their loader (UEFI 2.10 §3.5.1.1)."""
        return f"\\EFI\\BOOT\\BOOT{self.architecture}.EFI"

    @property
    def missing(self) -> str | None:
        """The first file that is not installed."""
        return next((str(path) for path in (self.code, self.variables) if not path.exists()), None)


_TCG = ("-accel", "tcg,thread=multi")
_OVMF, _AAVMF = Path("/usr/share/OVMF"), Path("/usr/share/AAVMF")

X64 = Firmware(
    Architecture.X64,
    ("qemu-system-x86_64", "-machine", "q35", "-cpu", "qemu64", *_TCG),
    _OVMF / "OVMF_CODE_4M.fd",
    _OVMF / "OVMF_VARS_4M.fd",
)
_SMM = ("-machine", "q35,smm=on", "-global", "driver=cfi.pflash01,property=secure,value=on")
# The build with Secure Boot, which insists on a store that only SMM can write.
X64_SECURE = Firmware(
    Architecture.X64,
    ("qemu-system-x86_64", *_SMM, "-cpu", "qemu64", *_TCG),
    _OVMF / "OVMF_CODE_4M.secboot.fd",
    _OVMF / "OVMF_VARS_4M.fd",
)
# The only 32-bit build is the one with Secure Boot.
IA32 = Firmware(
    Architecture.IA32,
    ("qemu-system-x86_64", *_SMM, "-cpu", "qemu64", *_TCG),
    _OVMF / "OVMF32_CODE_4M.secboot.fd",
    _OVMF / "OVMF32_VARS_4M.fd",
)
AA64 = Firmware(
    Architecture.AA64,
    ("qemu-system-aarch64", "-machine", "virt", "-cpu", "cortex-a57", *_TCG),
    _AAVMF / "AAVMF_CODE.fd",
    _AAVMF / "AAVMF_VARS.fd",
)
