"""What a kit holds for the UEFI shell: quoting, bounds, and the shell's own file byte for byte."""

from __future__ import annotations

import re
import struct
import zlib

import pytest

from bootwatch.judge.made_option import option_for
from bootwatch.model.snapshot import State
from bootwatch.recover.shell import startup_nsh
from bootwatch.recover.shell_exact import dmpstore_file, entries_nsh
from bootwatch.recover.shell_text import can_name, named, shown
from tests.judge.states import DEFAULT, FERNWICK, FERNWICK_PART, QUARRY, disk, program, state

DISK = disk("d15c0000-0000-4000-8000-000000000001", FERNWICK_PART)


def machine(label: str, path: str = FERNWICK, data: bytes = b"") -> State:
    held = state([(DISK, 1, {path: program("fernwick"), DEFAULT: program("fernwick")})])
    (volume,) = held.volumes.values()
    option = option_for(held, volume, path, label)
    assert option
    entries = {3: option + data}
    return state([(DISK, 1, {path: program("fernwick")})], entries=entries, order=(3,))


def script(held: State) -> list[str]:
    made = startup_nsh(held, "hall", "2026-11-25T07:15:00Z", lambda volume, file: "volumes/x/loader.efi")
    assert made[:2] == b"\xff\xfe"
    return made.decode("utf-16").splitlines()


def test_a_script_finds_makes_and_copies() -> None:
    lines = [line.strip() for line in script(machine("Fernwick Linux"))]
    assert any(f"GPT,{FERNWICK_PART.upper()}," in line for line in lines)
    assert any(line.startswith("setvar %bwx% ") for line in lines)
    assert f'cp -q "%0\\..\\volumes\\x\\loader.efi" "%bwv0%{FERNWICK}" >v bwnothing' in lines
    assert "pause" in lines
    before = lines[: lines.index("pause")]
    # Before the key only variables in memory are written: neither non-volatile ones nor files.
    assert not any(line.startswith(("cp ", "mkdir ", "bcfg ")) or " -nv " in line for line in before)


@pytest.mark.parametrize(
    "label", ['a" >FS0:\\x', "50%0 %path%", "^", "a\r\nreset", "\u202ex", "# x", "\ud800"]
)
def test_a_label_is_never_a_command(label: str) -> None:
    for line in script(machine(label)):
        assert all(ord(letter) >= 0x20 and letter.isprintable() for letter in line)
        assert line.count('"') % 2 == 0
        outside = re.sub(r'"[^"]*"', "", line)
        assert "#" not in outside or line.startswith("#")
        assert ">" not in outside.replace(" >v bw", "") and "%path%" not in line and "%0 " not in line
        # What the shell would replace where a variable ends and a digit follows.
        assert not re.search(r"%[0-9]", re.sub(r"%bw[a-z0-9]+%|%0\\\.\.", "", line))


def test_every_block_ends() -> None:
    lines = [line.strip() for line in script(machine("Fernwick Linux"))]
    assert sum(line.startswith("if ") for line in lines) == lines.count("endif")
    assert sum(line.startswith("for ") for line in lines) == lines.count("endfor")


def test_a_shell_that_cannot_say_what_is_there_writes_nothing() -> None:
    """Without `parse` a pipe to it ends the script without a word; so it is asked for before."""
    lines = [line.strip() for line in script(machine("Fernwick Linux"))]
    asked, piped = (
        lines.index("parse >v bwnothing"),
        next(n for n, one in enumerate(lines) if "| parse" in one),
    )
    assert asked < piped
    ends = [number for number, line in enumerate(lines) if line.startswith("exit /b 2")]
    looked = lines.index("dmpstore Boot0003 -sfo | parse VariableInfo 6 >v bwc")
    assert len(ends) == 3 and max(ends) < looked
    # The order that can't be read isn't taken for none.
    order = lines.index("dmpstore BootOrder -sfo | parse VariableInfo 6 >v bwo")
    assert lines[order + 1 : order + 4] == [
        'if "%bwo%" == "none" then', "dmpstore BootOrder >v bwnothing", 'if not "%lasterror%" == "0xE" then'
    ]  # fmt: skip
    assert order < lines.index("exit /b 3") < lines.index("pause")


def test_an_entry_that_no_line_holds_is_left_to_the_file() -> None:
    held = machine("Fernwick Linux", data=bytes(8000))
    assert max(map(len, script(held))) < 1000
    assert not any(
        line.startswith("setvar Boot0003") for line in entries_nsh(held).decode("utf-16").splitlines()
    )
    assert len(dmpstore_file(held)) > 8000


def test_records_as_the_shell_lays_them() -> None:
    held = state(entries={0x2A: b"\1\2\3"}, order=())
    name = b"B\0o\0o\0t\0000\0000\0002\0A\0\0\0"
    guid = bytes.fromhex("61dfe48bca93d211aa0d00e098032b8c")
    record = struct.pack("<II", 18, 3) + name + guid + b"\7\0\0\0" + b"\1\2\3"
    assert dmpstore_file(held) == record + struct.pack("<I", zlib.crc32(record))


@pytest.mark.parametrize("path", [QUARRY, "\\EFI\\größe\\a b+3.efi"])
def test_paths_that_the_shell_can_be_told(path: str) -> None:
    assert can_name(path)


@pytest.mark.parametrize(
    "path", ["\\EFI\\a[1].efi", "\\100%.efi", '\\a"b', "\\a^b", "\\a#b", "\\a\nb", "\\a*"]
)
def test_paths_that_it_would_take_for_something_else(path: str) -> None:
    assert not can_name(path)


def test_texts() -> None:
    assert shown("Größe ^ \x1b[31m") == "Gr??e ? ??31m"
    assert named("Größe 2 'x'") == "Größe 2 'x'"
