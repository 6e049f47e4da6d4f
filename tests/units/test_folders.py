"""Users and folders, as systemd's own tools make them below another root."""

from __future__ import annotations

import os
import stat
import subprocess
from pathlib import Path

import pytest

UNITS = Path(__file__).parents[2] / "units"

pytestmark = pytest.mark.skipif(os.geteuid() != 0, reason="giving files to other users takes root")


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("root")
    # systemd follows no path through folders that another than root or their owner could swap.
    root.chmod(0o755)
    for folder in ("etc/sysusers.d", "etc/tmpfiles.d", "var/lib", "run"):
        (root / folder).mkdir(parents=True)
    (root / "etc/passwd").write_text("root:x:0:0::/root:/bin/sh\n")
    (root / "etc/group").write_text("root:x:0:\n")
    for kind in ("sysusers", "tmpfiles"):
        (root / f"etc/{kind}.d/bootwatch.conf").write_text((UNITS / f"bootwatch.{kind}").read_text())
    subprocess.run(["systemd-sysusers", f"--root={root}"], check=True, capture_output=True)
    for _ in range(2):  # a second time as well: every boot does it again
        subprocess.run(["systemd-tmpfiles", f"--root={root}", "--create"], check=True, capture_output=True)
    return root


def names(file: Path) -> dict[int, str]:
    """Names by number, out of a file like /etc/passwd or /etc/group."""
    lines = [line.split(":") for line in file.read_text().splitlines()]
    return {int(fields[2]): fields[0] for fields in lines}


@pytest.mark.parametrize(
    ("path", "owner", "mode"),
    [
        ("var/lib/bootwatch", "root:bootwatch", 0o750),
        ("var/lib/bootwatch/baseline", "root:bootwatch", 0o750),
        ("var/lib/bootwatch/spares", "root:bootwatch", 0o750),
        ("var/lib/bootwatch/kit", "root:bootwatch", 0o750),
        ("var/lib/bootwatch/history", "bootwatch:bootwatch", 0o750),
        ("var/lib/bootwatch/spool", "bootwatch:bootwatch", 0o750),
        ("var/lib/bootwatch-send", "bootwatch-send:bootwatch", 0o750),
        ("run/bootwatch", "root:bootwatch", 0o1775),
        ("run/bootwatch/send", "bootwatch-send:bootwatch", 0o755),
        ("run/bootwatch/watch", "bootwatch-watch:bootwatch", 0o775),
        ("run/bootwatch/metrics.prom", "bootwatch:bootwatch", 0o644),
    ],
)
def test_who_owns_what(root: Path, path: str, owner: str, mode: int) -> None:
    users, groups = names(root / "etc/passwd"), names(root / "etc/group")
    found = (root / path).stat()
    assert f"{users[found.st_uid]}:{groups[found.st_gid]}" == owner
    assert stat.S_IMODE(found.st_mode) == mode


def test_nothing_of_theirs_is_opened_at_log_in(root: Path) -> None:
    """Whoever took one of them over could leave a pipe there, and nobody could log in any more."""
    assert list((root / "run/motd.d").iterdir()) == []


def test_nobody_can_log_in_as_them(root: Path) -> None:
    lines = (root / "etc/passwd").read_text().splitlines()
    shells = {line.split(":")[0]: line.split(":")[6] for line in lines}
    assert shells["bootwatch"] == shells["bootwatch-send"] == shells["bootwatch-watch"] == "/usr/sbin/nologin"
