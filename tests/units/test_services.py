"""The units as systemd itself reads them."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from bootwatch.model.snapshot import Moment

UNITS = Path(__file__).parents[2] / "units"
READER = "bootwatch-read@boot.service"
SHUTDOWN = "bootwatch-shutdown.service"
SENDER = "bootwatch-send.service"
WATCH = "bootwatch-watch.service"
DESKTOP = "bootwatch-desktop.service"
KIT = "bootwatch-kit.service"
KIT_TO = "bootwatch-kit-to@mnt-stick.service"
FAILED = "bootwatch-failed@bootwatch-read@boot.service.service"
KITS = [pytest.param(KIT, 1.0, marks=pytest.mark.long), pytest.param(KIT_TO, 1.2, marks=pytest.mark.long)]
KITS.append(pytest.param(FAILED, 1.2, marks=pytest.mark.long))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The units as installed, but for the program, which needn't be there."""
    folder = tmp_path_factory.mktemp("units")
    for unit in UNITS.iterdir():
        if unit.suffix in (".service", ".timer", ".path"):
            text = unit.read_text().replace("/usr/local/bin/bootwatch", "/bin/true")
            (folder / unit.name).write_text(text)
    shutil.copy(folder / "bootwatch-read@.service", folder / READER)
    shutil.copy(folder / "bootwatch-kit-to@.service", folder / KIT_TO)
    shutil.copy(folder / "bootwatch-failed@.service", folder / FAILED)
    return folder


def analyze(*arguments: str | Path, **variables: str) -> str:
    environment = {**os.environ, "LC_ALL": "C.UTF-8", "SYSTEMD_COLORS": "0", **variables}
    command = ["systemd-analyze", "--no-pager", *map(str, arguments)]
    result = subprocess.run(
        command, env=environment, text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    )
    assert result.returncode == 0, result.stdout
    return result.stdout


def test_users_managers_find_nothing_to_say_about_theirs(tmp_path: Path) -> None:
    text = (UNITS / "user" / DESKTOP).read_text().replace("/usr/local/bin/bootwatch", "/bin/true")
    unit = tmp_path / DESKTOP
    unit.write_text(text)
    assert analyze("verify", "--user", "--man=no", unit, XDG_RUNTIME_DIR=str(tmp_path)) == ""


def test_systemd_finds_nothing_to_say_about_them(folder: Path) -> None:
    units = [unit for unit in folder.iterdir() if not unit.name.endswith("@.service")]
    assert analyze("verify", "--man=no", *units) == ""


def exposure(unit: Path) -> float:
    told = analyze("security", "--offline=yes", unit)
    found = re.search(r"Overall exposure level for .*: ([0-9.]+)", told)
    assert found, told
    return float(found[1])


@pytest.mark.parametrize(
    ("unit", "most"), [(READER, 1.2), (SHUTDOWN, 1.2), (SENDER, 2.0), (WATCH, 1.2), *KITS]
)
def test_exposure(folder: Path, unit: str, most: float) -> None:
    assert exposure(folder / unit) <= most


def test_exposure_can_tell(folder: Path, tmp_path: Path) -> None:
    """Without its sandbox the same unit is far above."""
    bare = tmp_path / "bootwatch-bare.service"
    bare.write_text("[Service]\nExecStart=/bin/true\n")
    assert exposure(bare) > 9


def settings(unit: str) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for line in (UNITS / unit).read_text().splitlines():
        key, separator, value = line.partition("=")
        if separator and not line.startswith("#"):
            found.setdefault(key, []).extend(value.split())
    return found


def test_the_reader_writes_its_own_folders_only() -> None:
    reader = settings("bootwatch-read@.service")
    assert reader["ProtectSystem"] == ["strict"]
    assert set(reader["ReadWritePaths"]) == {
        "/var/lib/bootwatch/history",
        "/var/lib/bootwatch/spool",
        "/run/bootwatch",
    }
    assert reader["DeviceAllow"] == ["block-*", "r", "char-tpm", "rw"]
    assert reader["PrivateNetwork"] == ["yes"]


def test_kits_are_written_where_they_belong_and_nowhere_else() -> None:
    kit, elsewhere = settings(KIT), settings("bootwatch-kit-to@.service")
    assert kit["ReadWritePaths"] == ["/var/lib/bootwatch/kit"]
    assert elsewhere["ReadWritePaths"] == ["/var/lib/bootwatch/kit"]
    # What is bound is writable; without it a folder in somebody's home would not be there at all.
    assert (elsewhere["ProtectHome"], elsewhere["BindPaths"]) == (["tmpfs"], ["%f"])
    assert (kit["CapabilityBoundingSet"], elsewhere["CapabilityBoundingSet"]) == ([], ["CAP_DAC_OVERRIDE"])
    for unit in (kit, elsewhere):
        assert unit["ProtectSystem"] == ["strict"]
        assert unit["PrivateNetwork"] == unit["PrivateDevices"] == ["yes"]
        # Neither what the reader wrote nor the firmware's variables.
        assert {"-/var/lib/bootwatch/history", "-/sys/firmware"} <= set(unit["InaccessiblePaths"])


def test_the_sender_has_neither_disks_nor_baseline() -> None:
    sender = settings(SENDER)
    assert set(sender["ReadWritePaths"]) == {"/var/lib/bootwatch-send", "/run/bootwatch/send"}
    assert {"-/var/lib/bootwatch/baseline", "-/var/lib/bootwatch/spares", "-/sys/firmware"} <= set(
        sender["InaccessiblePaths"]
    )
    assert "DeviceAllow" not in sender
    assert sender["PrivateDevices"] == ["yes"]


def test_secrets_reach_the_sender_alone() -> None:
    files = ("addresses.yaml", "machine.key")
    sender, reader = settings(SENDER), settings("bootwatch-read@.service")
    assert sender["LoadCredential"] == [f"{file}:/etc/bootwatch/{file}" for file in files]
    # Something in place of a file that isn't there, or the unit would fail.
    assert [line for line in sender["SetCredential"] if ":" in line[:-1]] == [
        "addresses.yaml:addresses:",
        "machine.key:none\\n",
    ]
    assert {f"-/etc/bootwatch/{file}" for file in files} <= set(reader["InaccessiblePaths"])


def test_the_desktops_program_has_no_network_and_nothing_that_a_user_may_not_have() -> None:
    found = settings(f"user/{DESKTOP}")
    assert found["RestrictAddressFamilies"] == ["AF_UNIX"]
    assert found["NoNewPrivileges"] == ["yes"]
    # systemd.exec(5): for these a user's manager needs a name space, which not every kernel lets it make.
    assert not {key for key in found if key.startswith(("Protect", "Private", "ReadOnly", "Inaccessible"))}


@pytest.mark.parametrize(
    "unit", ["bootwatch-read@.service", "bootwatch-kit.service", "bootwatch-kit-to@.service"]
)
def test_what_nobody_waits_for_takes_what_nobody_else_wants(unit: str) -> None:
    found = settings(unit)
    assert (found["IOSchedulingClass"], found["CPUWeight"], found["Nice"]) == (["idle"], ["20"], ["10"])


def test_before_switching_off_it_reads_in_the_same_sandbox() -> None:
    """Both files hold it in full, since systemd has no way to share it: so here they are held together."""
    reader, shutdown = settings("bootwatch-read@.service"), settings(SHUTDOWN)
    of_the_unit = {"Description", "Type", "ConditionPathExists", "After", "WantedBy"}
    # When it runs, and how long it may take. What nobody waits for goes behind everything else.
    reader_alone = {"Wants", "ExecStart", "ExecStartPre", "ExecStartPost"}
    reader_alone |= {"TimeoutStartSec", "Nice", "IOSchedulingClass", "CPUWeight"}
    shutdown_alone = {"ExecStop", "TimeoutStopSec", "RemainAfterExit"}
    shutdown_alone |= {
        "DefaultDependencies",
        "Before",
        "Conflicts",
        "RefuseManualStop",
        "IgnoreOnIsolate",
    }
    # PrivateTmp= binds a unit to the mounts of /tmp and /var/tmp, with which it would be stopped.
    assert reader.pop("PrivateTmp") == ["yes"]
    assert shutdown.pop("TemporaryFileSystem") == ["/tmp:mode=1777", "/var/tmp:mode=1777"]
    assert reader.keys() - shutdown.keys() == reader_alone
    assert shutdown.keys() - reader.keys() == shutdown_alone
    for key in reader.keys() & shutdown.keys() - of_the_unit:
        assert reader[key] == shutdown[key], key


def test_it_stops_with_the_system_manager_only() -> None:
    shutdown = settings(SHUTDOWN)
    assert shutdown["RefuseManualStop"] == shutdown["IgnoreOnIsolate"] == ["yes"]
    assert shutdown["Conflicts"] == ["shutdown.target"]
    assert "shutdown.target" in shutdown["Before"]
    # With whatever it requires it would be stopped too.
    assert not shutdown.keys() & {
        "Requires",
        "BindsTo",
        "PartOf",
        "Requisite",
        "RequiresMountsFor",
        "PrivateTmp",
    }
    # Behind every service that is stopped, before any file system that local-fs.target is made of.
    assert "sysinit.target" in shutdown["Before"]
    assert shutdown["After"] == ["local-fs.target"]


def test_a_look_each_day_goes_by_no_clock_and_wakes_nobody() -> None:
    daily = settings("bootwatch-daily.timer")
    assert daily["OnActiveSec"] == daily["OnUnitActiveSec"] == ["1d"]
    assert not daily.keys() & {"OnCalendar", "Persistent", "WakeSystem"}
    (unit,) = daily["Unit"]
    assert Moment(unit.removeprefix("bootwatch-read@").removesuffix(".service")) is Moment.WATCH


def test_the_watch_writes_one_folder_and_reads_no_device() -> None:
    watch, reader = settings(WATCH), settings("bootwatch-read@.service")
    assert watch["ReadWritePaths"] == ["/run/bootwatch/watch"]
    assert "DeviceAllow" not in watch and "SupplementaryGroups" not in watch
    assert watch["CapabilityBoundingSet"] == watch["AmbientCapabilities"] == ["CAP_DAC_READ_SEARCH"]
    assert watch["User"] == watch["Group"] == ["bootwatch-watch"]
    # The same capability, the same fence; and what bootwatch itself keeps.
    fence = {*reader["InaccessiblePaths"], "-/var/lib/bootwatch", "-/var/lib/bootwatch-send"}
    assert {*watch["InaccessiblePaths"]} == fence
    for key in ("ProtectSystem", "ProtectKernelTunables", "DevicePolicy", "PrivateNetwork", "ProtectHome"):
        assert watch[key] == reader[key]


def test_systemd_hears_of_the_watch() -> None:
    watch = settings(WATCH)
    assert (watch["Type"], watch["NotifyAccess"]) == (["notify"], ["exec"])
    assert watch["Restart"] == ["always"] and watch["WatchdogSec"]
    # Settings with a mistake in them end the reload before anything hears of them.
    assert watch["ExecReload"] == [
        *("/usr/local/bin/bootwatch", "watch", "--check-settings"),
        *("/bin/sh", "-c", '"kill', "-HUP", '$MAINPID"'),
    ]
    # Behind the target that wants it: so the start of the machine doesn't wait for it.
    assert watch["After"] == watch["WantedBy"] == ["multi-user.target"]


def test_a_request_is_taken_away_before_the_reading() -> None:
    """systemd.path(5): where the file is still there when the unit ends, it is started again."""
    path, reader = settings("bootwatch-watch.path"), settings("bootwatch-read@.service")
    assert path["PathExists"] == ["/run/bootwatch/watch/request"]
    assert path["Unit"] == [f"bootwatch-read@{Moment.WATCH}.service"]
    assert reader["ExecStartPre"] == ["-/bin/rm", "-f", "/run/bootwatch/%i/request"]
    # Where that fails five times the path unit fails too, and for good: each reading has it begin again.
    assert reader["Wants"] == ["bootwatch-watch.path"]


def test_a_machine_that_wakes_up_is_read_then() -> None:
    reader = settings("bootwatch-read@.service")
    assert reader["After"] == reader["WantedBy"]
    assert {*reader["After"]} == {"hibernate.target", "hybrid-sleep.target", "suspend-then-hibernate.target"}
    assert (
        f"resume=bootwatch-read@{Moment.RESUME}.service" in (UNITS.parent / "packaging/install").read_text()
    )
