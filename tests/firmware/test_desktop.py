"""The desktop's unit as it is installed, in a user's real service manager: with its sandbox, without a
notification daemon."""

from __future__ import annotations

import json

import pytest

from tests.firmware.guest import Guest
from tests.firmware.test_came_true import installed
from tests.tell import kinds

pytestmark = [pytest.mark.firmware, pytest.mark.whole]

UNIT = "bootwatch-desktop.service"
USERS = "/etc/systemd/user"
# Logging in by itself would bring both.
MANAGER = "[Service]\nPAMName=\nEnvironment=XDG_RUNTIME_DIR=/run/user/%i\n"
BUS = "[Service]\nType=notify\nExecStart=dbus-daemon --session --nofork --address=unix:path=%t/bus\n"
# What a desktop brings along: the usual target refuses to be started alone.
DESKTOP = "[Unit]\nBindsTo=graphical-session.target\nRequires=bus.service\nAfter=bus.service\n"
AS_ANNA = (
    "setpriv --reuid=1000 --regid=1000 --clear-groups env HOME=/home/anna XDG_RUNTIME_DIR=/run/user/1000 "
    "DBUS_SESSION_BUS_ADDRESS=unix:path=/run/user/1000/bus"
)
# Starts the desktop once the monitor listens, and ends when somebody asked for a notification daemon.
UNTIL_ASKED = f"""{AS_ANNA} systemctl --user start bus.service
while read -r line; do
    case "$line" in
        *NameLost*) {AS_ANNA} systemctl --user start --no-block desktop.target ;;
        *GetCapabilities*) break ;;
    esac
done < <({AS_ANNA} dbus-monitor member=GetCapabilities)"""


def shown(guest: Guest, name: str) -> str:
    return guest.check(f"{AS_ANNA} systemctl --user show -P {name} {UNIT}").strip()


def test_at_log_in_until_it_is_removed(guest: Guest) -> None:
    installed(guest)
    message = {"format": "bootwatch/alert/1", "quiet_until": "", "message": kinds.stranded().to_json()}
    guest.put("/run/bootwatch/alert.json", json.dumps(message).encode())
    guest.put("/etc/systemd/system/user@.service.d/alone.conf", MANAGER.encode())
    guest.put(f"{USERS}/bus.service", BUS.encode())
    guest.put(f"{USERS}/desktop.target", DESKTOP.encode())
    guest.check("useradd -u 1000 -m anna && systemctl daemon-reload && systemctl start user@1000.service")
    guest.check(UNTIL_ASKED)
    assert shown(guest, "ActiveState") == "active"
    process = shown(guest, "MainPID")
    # Filters are in force: seccomp(2), "2" in proc(5).
    assert guest.check(f"grep -E '^(NoNewPrivs|Seccomp):' /proc/{process}/status").split() == [
        "NoNewPrivs:", "1", "Seccomp:", "2",
    ]  # fmt: skip
    guest.check("cd bootwatch && ./packaging/install --remove")
    guest.check(f"tail --pid={process} -f /dev/null")
    assert shown(guest, "ExecMainStatus") == "0"
    assert guest.check(f"ls -R {USERS}").split() == [f"{USERS}:", "bus.service", "desktop.target"]
