"""What is wrong by itself, whether or not it drifted."""

from __future__ import annotations

from bootwatch.judge.finding_disagree import volumes_disagree
from bootwatch.judge.finding_entries import of_entries
from bootwatch.judge.finding_files import file_damaged
from bootwatch.judge.finding_firmware import of_firmware
from bootwatch.judge.finding_fstab import fstab_volume_missing
from bootwatch.judge.finding_menu import menu_not_shown
from bootwatch.judge.finding_restore import restore_not_kept
from bootwatch.judge.finding_shared import loaders_share_volume
from bootwatch.judge.finding_unseen import unseen
from bootwatch.judge.finding_volumes import of_volumes
from bootwatch.judge.finding_watch import starts_unwatched
from bootwatch.judge.scene import Scene
from bootwatch.judge.unheard import unheard
from bootwatch.model.change import Finding

__all__ = ["findings", "unseen"]


def findings(scene: Scene) -> tuple[Finding, ...]:
    """All findings that need no baseline."""
    deaf = unheard(scene.outlook, scene.systems.running())
    return (
        *of_volumes(scene),
        *loaders_share_volume(scene),
        *fstab_volume_missing(scene),
        *volumes_disagree(scene),
        *of_entries(scene),
        *of_firmware(scene),
        *file_damaged(scene),
        *menu_not_shown(scene),
        *starts_unwatched(scene),
        *restore_not_kept(scene),
        *([deaf] if deaf else ()),
    )
