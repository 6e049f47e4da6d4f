"""The timer for machines that are left on, in a real system manager; a day is a second here."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.firmware.guest import Guest

pytestmark = [pytest.mark.firmware, pytest.mark.whole]

TIMER = "bootwatch-daily.timer"
UNITS = Path(__file__).parents[2] / "units"
# That a look tells nothing where nothing happened is tried elsewhere.
STAND_IN = "[Service]\nType=oneshot\nExecStart=/bin/true\n"
SHORT = "[Timer]\nOnActiveSec=\nOnUnitActiveSec=\nOnActiveSec=1s\nOnUnitActiveSec=1s\nAccuracySec=1ms\n"
# systemd's record of a unit that ran and ended well (sd-messages.h, SD_MESSAGE_UNIT_SUCCESS).
ENDED_WELL = "MESSAGE_ID=7ad2d189f7e94e70a38c781354912448"


def test_the_daily_look_comes_again_and_again(guest: Guest) -> None:
    guest.put(f"/etc/systemd/system/{TIMER}", (UNITS / TIMER).read_bytes())
    guest.put("/etc/systemd/system/bootwatch-read@.service", STAND_IN.encode())
    guest.check(f"systemctl daemon-reload && systemctl start {TIMER}")
    following = "journalctl -b --no-tail -f -o cat UNIT=bootwatch-read@watch.service " + ENDED_WELL
    guest.put(f"/etc/systemd/system/{TIMER}.d/short.conf", SHORT.encode())
    # As it is shipped it has nothing to do today.
    assert (
        guest.check("systemctl show -P ActiveEnterTimestampMonotonic bootwatch-read@watch.service") == "0\n"
    )
    guest.check(f"systemctl daemon-reload && systemctl restart {TIMER}")
    assert len(guest.check(f"head -n 3 < <({following})").splitlines()) == 3
