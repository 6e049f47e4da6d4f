"""Predictions against starts of a guest with a TPM: by the read unit, within its sandbox."""

from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from bootwatch.keep import predictions
from bootwatch.keep.history import FILE_NAME, History
from bootwatch.model.attempt import Attempt, Origin
from bootwatch.model.snapshot import Snapshot
from tests.firmware import base, firmware, tpm
from tests.firmware.guest import Guest
from tests.firmware.test_one_life import (
    FERNWICK_ESP,
    QUARRY_ESP,
    fetch,
    update_quarry,
    wait_for_reading,
)

pytestmark = [pytest.mark.firmware, pytest.mark.whole]
DEFAULT = firmware.X64.default_file
HISTORY = f"/var/lib/bootwatch/history/{FILE_NAME}"


def installed(guest: Guest) -> None:
    fetch(guest)
    guest.check("cd bootwatch && ./packaging/install --save-baseline")
    wait_for_reading(guest)


def start_with_tpm(guest: Guest, folder: Path, stack: ExitStack) -> None:
    folder.mkdir()
    guest.start(*stack.enter_context(tpm.running(folder)))
    wait_for_reading(guest)


def newest(guest: Guest, folder: Path) -> tuple[Snapshot, dict[str, Any], tuple[str, str]]:
    """The snapshot of this start, the record so far, and how the start was judged."""
    (folder / FILE_NAME).write_bytes(guest.get(HISTORY))
    with History.look(folder) as history:
        assert history
        number = history.rows(1)[0].number
        verdict = predictions.verdicts(history)[number]
        return history.snapshot(number), predictions.summary(history), (verdict.outcome.value, verdict.why)


def test_right_once_and_wrong_after_the_other_system_changed_the_order(guest: Guest, tmp_path: Path) -> None:
    fernwick, fallback = (Origin(f"gpt:{FERNWICK_ESP}", file) for file in (base.FERNWICK_LOADER, DEFAULT))
    quarry = Origin(f"gpt:{QUARRY_ESP}", base.QUARRY_LOADER)
    installed(guest)
    guest.power_off()
    with ExitStack() as stack:
        start_with_tpm(guest, tmp_path / "first", stack)
        assert guest.check("stat -c %a:%U /sys/kernel/security/tpm0/binary_bios_measurements") == "440:root\n"
        snapshot, summary, verdict = newest(guest, tmp_path / "first")
        assert snapshot.gaps == ()
        assert [attempt.loader for attempt in snapshot.circumstance.attempts] == [fernwick]
        # A new TPM that was started up once.
        assert (snapshot.circumstance.tpm_resets, snapshot.circumstance.tpm_restarts) == (1, 0)
        assert verdict[0] == "right", verdict
        assert summary["proven"].keys() >= {f"file|{fernwick.volume}|{base.FERNWICK_LOADER.upper()}"}
        guest.power_off()

        update_quarry(guest)
        start_with_tpm(guest, tmp_path / "second", stack)
        snapshot, summary, verdict = newest(guest, tmp_path / "second")
        attempts = snapshot.circumstance.attempts
        assert attempts[0] == Attempt(quarry, (), returned=True)
        assert (attempts[-1].loader, attempts[-1].returned) == (fallback, False)
        assert verdict[0] == "wrong", verdict
        assert verdict[1].endswith("The boot order was changed in between.")
        assert (summary["right"], summary["judged"]) == (1, 2)
