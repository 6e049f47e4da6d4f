"""Where boot volumes are mounted."""

from __future__ import annotations

_TOPS = ("/boot", "/efi")


def is_boot_folder(folder: str) -> bool:
    """Whether a volume that is mounted there takes part in starting: at or below /boot or /efi."""
    return any(folder == top or folder.startswith(top + "/") for top in _TOPS)
