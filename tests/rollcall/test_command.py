"""The command as a technician meets it."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from bootwatch.cli.main import main
from bootwatch.model.level import Level
from bootwatch.rollcall.letter import MOST_BYTES
from bootwatch.tell.part import public_key, seal
from tests.cli.commands import Said
from tests.rollcall.mails import BEGIN, DAY, KEYS, document, mail, maildir, mbox, signed, signs

Run = Callable[..., Said]


@pytest.fixture
def rollcall(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """The command on a day, with study and kitchen in the list."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.delenv("BOOTWATCH_MAIL_PASSWORD", raising=False)
    known = tmp_path / "config/bootwatch/machines"
    known.parent.mkdir(parents=True)
    lines = [f"{public_key(KEYS[name])} {name}\n" for name in ("study", "kitchen")]
    known.write_text("# ours\n\n" + "".join(lines))

    def run(source: Path | str, *options: str, day: float = 71) -> Said:
        capsys.readouterr()
        status = main(["rollcall", str(source), "--now", (BEGIN + day * DAY).isoformat(), *options])
        return Said(status, *capsys.readouterr())

    return run


def conditions(said: Said, part: str = "machines") -> dict[str, str]:
    return {one["machine"]: one["condition"] for one in said.document[part]}


def listing(folder: Path) -> dict[str, Any]:
    """Names, bytes and times of what lies in a folder."""
    found = {}
    for path in sorted(folder.rglob("*")):
        info = path.lstat()
        content = path.read_bytes() if path.is_file() else b""
        found[str(path)] = (content, info.st_mode, info.st_mtime_ns, info.st_ino)
    return found


@pytest.mark.parametrize("make", [maildir, mbox])
def test_sources_are_read_and_left_as_they_are(rollcall: Run, tmp_path: Path, make: Any) -> None:
    alert = signed("kitchen", 80, 70, Level.DIVERTED)
    folder = tmp_path / "mail"
    folder.mkdir()
    source = make(folder / "box", [*signs(), *signs("kitchen", 63), alert, b"Subject: lunch?\n\nAt one.\n"])
    before = listing(folder)
    said = rollcall(source, "--json")
    assert said.status == 1
    assert conditions(said) == {"kitchen": "alert", "study": "well"}
    assert (said.document["mails"], said.document["states"], said.document["passed_over"]) == (23, 22, {})
    assert listing(folder) == before


def test_all_is_well(rollcall: Run, tmp_path: Path) -> None:
    said = rollcall(mbox(tmp_path / "box", [*signs(), *signs("kitchen")]))
    assert said.status == 0
    assert "all is well" in said.out
    assert rollcall(tmp_path / "box", day=90).status == 1


def test_the_table(rollcall: Run, tmp_path: Path) -> None:
    mails = [*signs(until=49), *signs("kitchen"), signed("kitchen", 90, 70.5, Level.STRANDED)]
    mails.append(mail(seal(document("kitchen", 900, 70.6), None), BEGIN + 70.6 * DAY))
    said = rollcall(mbox(tmp_path / "box", mails))
    assert said.out == (
        "Roll call, 12 May 2026, 08:00 UTC: 2 of 2 machines are to be seen to.\n"
        "\n"
        "MACHINE  STATE               LAST HEARD   REMARK\n"
        "kitchen  stranded            11 May 2026  alert a1, starts next: Quarry, not as\n"
        "                                          usual\n"
        "study    silent too long     20 Apr 2026  22 days; at most 7 so far (3.0-fold)\n"
        "\n"
        "Not proven: anybody may have sent these. They change nothing above.\n"
        "MACHINE  STATE               LAST HEARD   REMARK\n"
        "kitchen  not proven          11 May 2026  not signed; it says that all is well\n"
        "\n"
        "From 21 mails, 21 with a state that can be read.\n"
    )
    assert max(map(len, said.out.splitlines())) <= 80


def test_without_a_list(rollcall: Run, tmp_path: Path) -> None:
    (tmp_path / "config/bootwatch/machines").unlink()
    said = rollcall(mbox(tmp_path / "box", signs()))
    assert said.status == 0
    assert "study    well                11 May 2026  signed with an unknown key" in said.out
    assert "Not proven: no key of these is in" in said.out
    assert "--keys" in said.out


def test_keys_for_the_list(rollcall: Run, tmp_path: Path) -> None:
    box = mbox(tmp_path / "box", [*signs(), signed("stranger", 3, 60), signed("nameless", 3, 60)])
    said = rollcall(box, "--keys")
    assert said.status == 0
    (tmp_path / "list").write_text(said.out)
    shown = conditions(rollcall(box, "--json", "--known", str(tmp_path / "list")))
    assert shown.keys() == {"study", "stranger"}
    assert (
        f"# in the list already; 11 states, the last of 11 May 2026\n{public_key(KEYS['study'])} study\n"
        in said.out
    )
    assert f"# new; 1 state, the last of 1 May 2026\n{public_key(KEYS['stranger'])} stranger\n" in said.out


def test_a_list_from_any_editor(rollcall: Run, tmp_path: Path) -> None:
    box = mbox(tmp_path / "box", signs())
    line = f"\ufeff#ours\r\n  {public_key(KEYS['study'])}\tstudy \r\n\r\n"
    (tmp_path / "list").write_text(line, newline="")
    assert conditions(rollcall(box, "--json", "--known", str(tmp_path / "list"))) == {"study": "well"}


def test_a_sign_of_life_during_an_alert_names_no_alert(rollcall: Run, tmp_path: Path) -> None:
    sign = document("study", 90, 70.5, Level.DIVERTED, kind="sign of life", alert=None, called="")
    box = mbox(tmp_path / "box", [*signs(), mail(seal(sign, KEYS["study"]), BEGIN + 70.5 * DAY)])
    line = next(one for one in rollcall(box).out.splitlines() if one.startswith("study"))
    assert line == "study    diverted            11 May 2026  starts next: Quarry, not as usual"


def test_what_cannot_be_read_is_counted(rollcall: Run, tmp_path: Path) -> None:
    damaged = signs()[0].replace(b"bootwatch-state.json", b"x.json").replace(b"eyJ", b"eyK", 1)
    folder = maildir(tmp_path / "box", [*signs(), *signs("kitchen"), damaged, b"x" * (MOST_BYTES + 1)])
    (folder / "new/link").symlink_to("/etc/passwd")
    os.mkfifo(folder / "new/pipe")
    (folder / "new/folder").mkdir()
    said = rollcall(folder, "--json")
    assert said.status == 0
    assert sum(said.document["passed_over"].values()) == 2
    assert "mail larger than any of ours" in said.document["passed_over"]
    assert "Passed over: 1 (mail larger than any of ours), 1 (mail not readable" in rollcall(folder).out


@pytest.mark.parametrize(
    ("source", "options", "status", "why"),
    [
        ("absent", (), 3, "can't be read: No such file"),
        ("config", (), 2, "neither a Maildir folder nor an mbox file"),
        ("config/bootwatch/machines", (), 2, "neither a Maildir folder nor an mbox file"),
        ("box", ("--known", "absent"), 2, "There is no absent"),
        ("box", ("--known", "box"), 2, "box, line 1: that is no key with a name behind it"),
        ("pop3://a@b/c", (), 2, "begins with imaps://"),
        ("imaps://a:geheim@b/c", (), 2, "A password doesn't belong into the address"),
        ("imaps://b/c", (), 2, "it looks like imaps://USER@HOST/FOLDER"),
        ("imaps://a@b:x/c", (), 2, "it looks like imaps://USER@HOST/FOLDER"),
        ("imaps://a%0d@b/c", (), 2, "it looks like imaps://USER@HOST/FOLDER"),
        ("imap://a@mail.example.org/c", (), 2, "to this machine itself only"),
        ("imap://a@127.0.0.1:1/c", (), 2, "nobody can be asked"),
        ("imap://a@127.0.0.1:1/c", ("--password-file", "absent"), 2, "can't be read as a password"),
        ("imap://a@127.0.0.1:1/c", ("--password-file", "box"), 2, "Others can read box"),
        (
            "imap://a@127.0.0.1:1/c",
            ("--password-file", "password"),
            3,
            "can't be reached: Connection refused",
        ),
    ],
)
def test_what_is_wrong_is_said(
    rollcall: Run,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    source: str,
    options: tuple[str, ...],
    status: int,
    why: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    mbox(tmp_path / "box", signs(until=0)).chmod(0o644)
    (tmp_path / "password").write_text("geheim\n")
    (tmp_path / "password").chmod(0o600)
    said = rollcall(source, *options)
    assert said.status == status
    assert why in said.err
    assert "geheim" not in said.err + said.out
