"""Which lines of package managers' logs say that files of a package changed, and how they add up."""

from __future__ import annotations

import pytest

from bootwatch.model.package import Action, PackageChange
from bootwatch.observe.package_lines import LOGS, changes_in

DPKG = "var/log/dpkg.log"


Told = tuple[str, str, str, str]


def changes(text: str, log: str = DPKG) -> list[Told]:
    found = changes_in(LOGS[log], text.encode())
    return [(change.action.value, change.package, change.before, change.after) for change in found]


# Written by dpkg 1.21.22 (install, upgrade and purge of a package of one file).
REAL = """\
2026-11-27 00:42:52 startup archives install
2026-11-27 00:42:52 install fernwick-loader:all <none> 1.1
2026-11-27 00:42:52 status half-installed fernwick-loader:all 1.1
2026-11-27 00:42:52 status unpacked fernwick-loader:all 1.1
2026-11-27 00:42:52 configure fernwick-loader:all 1.1 1.1
2026-11-27 00:42:52 status half-configured fernwick-loader:all 1.1
2026-11-27 00:42:52 status installed fernwick-loader:all 1.1
2026-11-27 00:42:52 startup archives install
2026-11-27 00:42:52 upgrade fernwick-loader:all 1.1 1.2
2026-11-27 00:42:52 status half-configured fernwick-loader:all 1.1
2026-11-27 00:42:52 configure fernwick-loader:all 1.2 1.2
2026-11-27 00:42:52 status installed fernwick-loader:all 1.2
2026-11-27 00:42:52 startup packages purge
2026-11-27 00:42:52 status installed fernwick-loader:all 1.2
2026-11-27 00:42:52 remove fernwick-loader:all 1.2 <none>
2026-11-27 00:42:52 status config-files fernwick-loader:all 1.2
2026-11-27 00:42:52 status not-installed fernwick-loader:all <none>
"""


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        (slice(0, 7), ("installed", "fernwick-loader", "", "1.1")),
        (slice(0, 12), ("installed", "fernwick-loader", "", "1.2")),
        (slice(7, 12), ("updated", "fernwick-loader", "1.1", "1.2")),
        (slice(7, 17), ("removed", "fernwick-loader", "1.1", "")),
        (slice(12, 17), ("removed", "fernwick-loader", "1.2", "")),
        # It was there meanwhile, and ran its scripts.
        (slice(0, 17), ("removed", "fernwick-loader", "", "")),
    ],
)
def test_what_a_span_of_the_log_adds_up_to(lines: slice, expected: Told) -> None:
    assert changes("".join(REAL.splitlines(keepends=True)[lines])) == [expected]


def test_lines_that_change_no_file() -> None:
    text = "".join(
        f"2026-11-27 00:10:01 {rest}\n"
        for rest in (
            "startup archives unpack",
            "configure boot-tool:amd64 1.1 <none>",
            "trigproc boot-tool:amd64 1.1 <none>",
            "status installed boot-tool:amd64 1.1",
            "conffile /etc/boot-tool.conf keep",
        )
    )
    assert changes(text) == []


def test_removed_and_installed_again_is_an_update() -> None:
    text = "d t remove tool:all 1 <none>\nd t purge tool:all 1 <none>\nd t install tool:all <none> 2\n"
    assert changes(text) == [("updated", "tool", "1", "2")]


def test_order_is_that_of_the_last_change_whatever_the_clock_says() -> None:
    text = (
        "2031-01-01 00:00:00 upgrade kernel:amd64 6.1 6.2\n"
        "2031-01-01 00:00:01 install tool:all <none> 1\n"
        "1970-01-01 00:00:00 upgrade kernel:amd64 6.2 6.3\n"
    )
    assert changes(text) == [("installed", "tool", "", "1"), ("updated", "kernel", "6.1", "6.3")]


@pytest.mark.parametrize(
    ("log", "lines", "expected"),
    [
        (
            "var/log/pacman.log",
            [
                "[2026-11-20T10:00:00+0200] [ALPM] transaction started",
                "[2026-11-20T10:00:01+0200] [ALPM] upgraded linux (6.10.1-1 -> 6.10.2-1)",
                "[2026-11-20T10:00:02+0200] [ALPM] downgraded zstd (1:1.5.7-2 -> 1:1.5.7-1)",
                "[2026-11-20 10:00] [ALPM] installed tool (1.0-1)",
                "[2026-11-20T10:00:03+0200] [ALPM] reinstalled shell (5.3.3-1)",
                "[2026-11-20T10:00:04+0200] [ALPM] removed editor (8.4-1)",
                "[2026-11-20T10:00:05+0200] [ALPM-SCRIPTLET] installed trap (1)",
            ],
            [
                ("updated", "linux", "6.10.1-1", "6.10.2-1"),
                ("updated", "zstd", "1:1.5.7-2", "1:1.5.7-1"),
                ("installed", "tool", "", "1.0-1"),
                ("updated", "shell", "", "5.3.3-1"),
                ("removed", "editor", "8.4-1", ""),
            ],
        ),
        (
            "var/log/dnf.rpm.log",
            [
                "2026-11-20T10:00:00+0000 INFO --- logging initialized ---",
                "2026-11-20T10:00:01+0000 SUBDEBUG Upgrade: crypto-libs-1:3.2.2-6.el9.x86_64",
                "2026-11-20T10:00:02+0000 SUBDEBUG Installed: kernel-modules-extra-5.10.0-0.92.fc34.x86_64",
                "2026-11-20T10:00:03+0000 SUBDEBUG Upgraded: crypto-libs-1:3.0.7-27.el9.x86_64",
                "2026-11-20T10:00:04+0000 SUBDEBUG Erase: flac-1.3.3-3.fc29.noarch",
            ],
            [
                ("updated", "crypto-libs", "", "1:3.2.2-6.el9"),
                ("installed", "kernel-modules-extra", "", "5.10.0-0.92.fc34"),
                ("removed", "flac", "1.3.3-3.fc29", ""),
            ],
        ),
        (
            "var/log/zypp/history",
            [
                "# 2026-11-20 11:10:00 tool-1.0 installed ok",
                "2026-11-20 11:10:00|command|admin@hall|'tool' 'dup'|",
                "2026-11-20 11:12:25|install|kernel-default|7.2.0-1.1|x86_64|admin@hall|repo|abc123|",
                "2026-11-20 11:12:26|remove |editor|8.4-1.1|x86_64|admin@hall|",
            ],
            [("installed", "kernel-default", "", "7.2.0-1.1"), ("removed", "editor", "8.4-1.1", "")],
        ),
        (
            "var/log/apk.log",
            [
                "Running `tool upgrade` at 2026-11-20 06:10:04",
                "(1/3) Upgrading json-tool (1.8.1-r0 -> 1.8.2-r0)",
                "( 2/13) Installing musl (1.2.5-r1)",
                "(3/3) Purging editor (8.4-r0)",
                "OK: 129.7 MiB in 208 packages",
            ],
            [
                ("updated", "json-tool", "1.8.1-r0", "1.8.2-r0"),
                ("installed", "musl", "", "1.2.5-r1"),
                ("removed", "editor", "8.4-r0", ""),
            ],
        ),
    ],
    ids=["pacman", "dnf", "zypp", "apk"],
)
def test_other_package_managers(
    log: str, lines: list[str], expected: list[tuple[str, str, str, str]]
) -> None:
    assert changes("\n".join(lines) + "\n", log) == expected


def test_the_newest_are_kept() -> None:
    text = "".join(f"d t install tool{number}:all <none> 1\n" for number in range(300))
    assert [package for _, package, _, _ in changes(text)] == [f"tool{number}" for number in range(100, 300)]


@pytest.mark.parametrize(
    "line",
    [
        "d t install too\x1b[2Jl:all <none> 1",
        "d t install tool:all <none> 1\x9b",
        "d t install tööl:all <none> 1",
        f"d t install {'t' * 200}:all <none> 1",
        f"d t install tool:all <none> {'1' * 200}",
        f"{'d' * 2000} t install tool:all <none> 1",
        "d t install tool:all <none>",
        "d t install tool:all <none> 1 2",
    ],
)
def test_hostile_lines_are_passed_over(line: str) -> None:
    assert changes(f"{line}\nd t install good:all <none> 1\n") == [("installed", "good", "", "1")]


def test_change_survives_json() -> None:
    change = PackageChange(Action.UPDATED, "kernel", "6.1", "6.2")
    assert PackageChange.from_json(change.to_json()) == change
