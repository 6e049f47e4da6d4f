"""packaging/install below another root. On the running machine it is never let loose from here."""

from __future__ import annotations

import os
import re
import shutil
import stat
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

pytestmark = pytest.mark.long
CHECKOUT = Path(__file__).parents[2]
INSTALL = CHECKOUT / "packaging/install"
LIBRARY = "usr/local/lib/bootwatch"


def install(root: Path, *options: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "DESTDIR": str(root)}
    command = [str(INSTALL), *options]
    return subprocess.run(command, env=environment, text=True, capture_output=True, timeout=60)


@pytest.fixture
def root(tmp_path: Path) -> Path:
    result = install(tmp_path)
    assert result.returncode == 0, result.stderr
    return tmp_path


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def everything(root: Path) -> set[str]:
    return {str(path.relative_to(root)) for path in root.rglob("*") if not path.is_dir()}


def test_each_unit_lies_in_its_place(root: Path) -> None:
    units = {unit.name for unit in (CHECKOUT / "units").iterdir()} & {
        unit.name for unit in (root / "etc/systemd/system").iterdir()
    }
    assert {"bootwatch-boot.timer", "bootwatch-read@.service", "bootwatch-send.path"} <= units
    assert "bootwatch-shutdown.service" in units
    for name in ("etc/sysusers.d/bootwatch.conf", "etc/tmpfiles.d/bootwatch.conf"):
        assert (root / name).is_file()
    assert (root / "usr/local/lib/systemd/catalog/bootwatch.catalog").is_file()
    for script in ("usr/local/libexec/bootwatch-failed", "etc/update-motd.d/62-bootwatch"):
        assert mode(root / script) == 0o755
    # Not among the system's own.
    assert (root / "etc/systemd/user/bootwatch-desktop.service").is_file()
    assert not (root / "etc/systemd/system/bootwatch-desktop.service").exists()
    assert (root / "etc/xdg/autostart/bootwatch-desktop.desktop").is_file()


def test_every_timer_and_path_is_started() -> None:
    found = re.search(r"^started=\((.+)\)$", INSTALL.read_text(), re.M)
    units = {unit.name for unit in (CHECKOUT / "units").iterdir()}
    waiting = {name for name in units if name.endswith((".timer", ".path"))}
    assert found and set(found[1].split()) == {*waiting, "bootwatch-watch.service"}


def test_the_program_starts_from_there(root: Path) -> None:
    starter = root / "usr/local/bin/bootwatch"
    assert mode(starter) == 0o755
    text = starter.read_text()
    assert text.startswith("#!/usr/bin/python3 -I\n")
    # The starter names its place on the machine; here that lies below another root.
    moved = text.replace("/usr/local/lib", f"{root}/usr/local/lib")
    result = subprocess.run(
        [sys.executable, "-I", "-c", moved, "--help"], text=True, capture_output=True, cwd="/"
    )
    assert result.returncode == 0, result.stderr
    assert "usage" in result.stdout.lower()


def test_other_users_may_run_it_and_change_nothing(root: Path) -> None:
    for path in (root / LIBRARY).rglob("*"):
        assert mode(path) & 0o022 == 0, path
        assert mode(path) & 0o044 == 0o044, path


def test_a_new_version_leaves_nothing_of_the_old(root: Path) -> None:
    left_over = root / LIBRARY / "bootwatch/gone_since.py"
    left_over.write_text("")
    collector = root / "var/lib/prometheus/node-exporter"
    assert not collector.parent.exists()
    collector.mkdir(parents=True)
    assert install(root).returncode == 0
    assert not left_over.exists()
    # Monitoring came meanwhile.
    assert os.readlink(collector / "bootwatch.prom") == "/run/bootwatch/metrics.prom"
    assert (root / LIBRARY / "bootwatch/__init__.py").is_file()
    assert {path.name for path in (root / LIBRARY).parent.iterdir()} == {"bootwatch", "systemd"}


def test_settings_are_commented_and_stay(root: Path) -> None:
    settings, addresses = (root / "etc/bootwatch" / name for name in ("bootwatch.yaml", "addresses.yaml"))
    assert mode(addresses) == 0o600
    assert mode(settings) == 0o644
    addresses.write_text("addresses: []  # mine\n")
    assert install(root).returncode == 0
    assert addresses.read_text() == "addresses: []  # mine\n"


def test_removing_leaves_records_and_settings(root: Path) -> None:
    record = root / "var/lib/bootwatch/baseline/current.yaml"
    record.parent.mkdir(parents=True)
    record.write_text("")
    (root / "etc/bootwatch/machine.key").write_text("mine")
    beside = root / "etc/systemd/system/bootwatch-shutdown.service.d"
    beside.mkdir()
    (beside / "tpm.conf").write_text("")
    (beside / "slow-firmware.conf").write_text("[Service]\nTimeoutStopSec=15s\n")
    collector = root / "var/lib/prometheus/node-exporter"
    collector.mkdir(parents=True)
    (collector / "bootwatch.prom").symlink_to("/run/bootwatch/metrics.prom")
    result = install(root, "--remove")
    assert result.returncode == 0, result.stderr
    assert everything(root) == {
        "etc/bootwatch/bootwatch.yaml",
        "etc/bootwatch/addresses.yaml",
        "etc/bootwatch/machine.key",
        "etc/systemd/system/bootwatch-shutdown.service.d/slow-firmware.conf",
        "var/lib/bootwatch/baseline/current.yaml",
    }


def test_no_key_is_laid_into_an_image(root: Path) -> None:
    assert {path.name for path in (root / "etc/bootwatch").iterdir()} == {"bootwatch.yaml", "addresses.yaml"}


def test_purging_leaves_nothing(root: Path) -> None:
    (root / "var/lib/bootwatch-send").mkdir(parents=True)
    (root / "var/lib/bootwatch-send/receipt").write_text("")
    (root / "etc/bootwatch/machine.key").write_text("")
    beside = root / "etc/systemd/system/bootwatch-read@.service.d"
    beside.mkdir()
    (beside / "tpm.conf").write_text("")
    rules = root / "etc/udev/rules.d/55-bootwatch.rules"
    rules.parent.mkdir(parents=True)
    rules.write_text("")
    assert install(root, "--remove", "--purge", "--yes").returncode == 0
    assert everything(root) == set()
    assert not beside.exists()


@pytest.mark.parametrize("options", [["--purge"], ["--no-such-thing"]])
def test_wrong_usage(tmp_path: Path, options: list[str]) -> None:
    result = install(tmp_path, *options)
    assert result.returncode == 2
    assert result.stderr.startswith("install: ")
    assert everything(tmp_path) == set()


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that every user can reach, unlike pytest's own."""
    folder = Path(tempfile.mkdtemp(prefix="bootwatch-install-"))
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder)


@pytest.mark.skipif(os.geteuid() != 0, reason="becoming another user takes root")
def test_without_rights(open_folder: Path) -> None:
    script = open_folder / "packaging/install"
    script.parent.mkdir()
    shutil.copy(INSTALL, script)
    drop = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"]
    result = subprocess.run([*drop, str(script)], text=True, capture_output=True)
    assert result.returncode == 2
    assert result.stderr.splitlines()[0] == "install: Only root may do this."


@pytest.mark.skipif(os.geteuid() != 0, reason="hiding the firmware takes root")
def test_without_uefi() -> None:
    # The firmware is hidden first: on a PC that has it, nothing may be installed by a test.
    script = f'mount -t tmpfs none /sys/firmware && [ ! -e /sys/firmware/efi ] && exec "{INSTALL}"'
    result = subprocess.run(["unshare", "--mount", "sh", "-c", script], text=True, capture_output=True)
    if "unshare" in result.stderr or "mount:" in result.stderr:
        pytest.skip(f"no mounts here: {result.stderr.strip()}")
    assert result.returncode == 3
    problem, hint = result.stderr.splitlines()
    assert "UEFI" in problem
    assert hint.startswith("  ")
