"""os-release files against the shell, whose syntax they borrow."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from bootwatch.formats.os_release import MAX_VALUES, parse

SHELL = shutil.which("sh") or "/bin/sh"
FILE = r"""
# a comment
NAME="Fernwick Linux"
ID=fernwick
 INDENTED=yes
VERSION_ID='7'
EMPTY=
EMPTY_QUOTES=""
HASH=a#b
DOUBLE="a \"word\", \$5, \`x\`, a \\ and a \n that stays"
SINGLE='a "word", \$5 and a \ '
JOINED=a"b c"'d e'f\ g
URL=https://fernwick.example/?a=b
TWICE=first
TWICE=second
UMLAUT="Döma ☃"
"""


def by_shell(folder: Path) -> dict[str, str]:
    (folder / "os-release").write_text(FILE, encoding="utf-8")
    command = [SHELL, "-c", "set -a; . ./os-release; exec env -0"]
    printed = subprocess.run(
        command, cwd=folder, env={"PATH": os.environ["PATH"]}, check=True, capture_output=True
    )
    pairs = (entry.partition("=") for entry in printed.stdout.decode().split("\0") if entry)
    return {name: value for name, _, value in pairs if name not in ("PATH", "PWD", "OLDPWD", "SHLVL", "_")}


def test_agrees_with_the_shell(tmp_path: Path) -> None:
    assert parse(FILE) == by_shell(tmp_path)


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ('NAME="not closed', {"NAME": '"not closed'}),
        ("NAME=trailing\\", {"NAME": "trailing\\"}),
        ("no assignment\n=value\n1X=2\nID=a", {"ID": "a"}),
        ("ID=a b", {"ID": "a"}),
        ("ID=a\r\n", {"ID": "a"}),
        ("", {}),
    ],
)
def test_what_no_shell_would_take(text: str, values: dict[str, str]) -> None:
    assert parse(text) == values


def test_a_bounded_number_of_values() -> None:
    assert len(parse("\n".join(f"N{number}=1" for number in range(MAX_VALUES + 10)))) == MAX_VALUES
