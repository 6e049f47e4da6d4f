"""What the machine says of itself: names, firmware, the running system."""

from __future__ import annotations

import platform
import shlex
from typing import Any

from bootwatch.model.gap import Gap
from bootwatch.observe.machine import Machine, detail_of, reason_for
from bootwatch.observe.mounts import FstabLine, read_fstab

_DMI = {
    "vendor": "sys_vendor",
    "product": "product_name",
    "firmware_vendor": "bios_vendor",
    "firmware_version": "bios_version",
    "firmware_date": "bios_date",
}
_OS_RELEASE = ("ID", "NAME", "PRETTY_NAME", "VERSION_ID")


def read_facts(machine: Machine) -> tuple[dict[str, Any], list[FstabLine], list[Gap]]:
    """The facts, fstab's lines for boot volumes, and what could not be read. What isn't there is None."""
    gaps: list[Gap] = []
    try:
        fstab = read_fstab(machine)
    except OSError as error:
        fstab = []
        gaps.append(Gap("machine", "etc/fstab", reason_for(error), detail_of(error)))
    facts: dict[str, Any] = {
        "machine_id": machine.text_or_none("etc/machine-id"),
        "host_name": machine.text_or_none("etc/hostname"),
        "architecture": machine.text_or_none("proc/sys/kernel/arch") or platform.machine(),
        "firmware_bits": machine.number_or_none("sys/firmware/efi/fw_platform_size"),
        "system": _os_release(machine),
        "fstab": [line.to_json() for line in fstab],
    }
    for name, file in _DMI.items():
        facts[name] = machine.text_or_none(f"sys/class/dmi/id/{file}")
    return facts, fstab, gaps


def _os_release(machine: Machine) -> dict[str, str]:
    """The running system's names for itself (os-release(5))."""
    values = {}
    for line in (machine.text_or_none("etc/os-release") or "").splitlines():
        name, separator, value = line.partition("=")
        if separator and name in _OS_RELEASE:
            values[name.lower()] = _unquote(value)
    return values


def _unquote(value: str) -> str:
    try:
        return " ".join(shlex.split(value))
    except ValueError:
        return value
