"""bootwatch demo, as a stranger sees it."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).parents[2]
LOST_LOADER = "\\EFI\\fernwick\\loaderx64.efi"


def demo(*options: str, user: int | None = None) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "bootwatch.cli", "demo", *options]
    if user is not None:
        command = ["setpriv", f"--reuid={user}", f"--regid={user}", "--clear-groups", *command]
    environment = {**os.environ, "PYTHONPATH": str(CHECKOUT), "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.run(command, env=environment, cwd="/", text=True, capture_output=True, timeout=60)


@pytest.fixture(scope="module")
def told() -> str:
    result = demo()
    assert result.returncode == 0, result.stderr
    assert result.stderr == ""
    return result.stdout


def mails(told: str) -> list[list[str]]:
    """The mails that are shown: Anna's, who looks after the PC, Ben's, who uses it, and Anna's all-clear."""
    lines = [line[2:] for line in told.splitlines() if line.startswith("| ") or line == "|"]
    begins = [number for number, line in enumerate(lines) if line.startswith("From: ")]
    return [lines[begin:end] for begin, end in zip(begins, [*begins[1:], None], strict=True)]


def mail(told: str) -> list[str]:
    return mails(told)[0]


def test_the_subject_names_machine_and_system(told: str) -> None:
    (subject,) = (line for line in mail(told) if line.startswith("Subject: "))
    assert "study" in subject
    assert "Fernwick Linux" in subject


def test_the_owner_reads_what_to_do_and_no_word_of_the_trade(told: str) -> None:
    text = "\n".join(mails(told)[1])
    assert "To: ben@example.org" in text
    assert "F9" in text and "01234 567890" in text
    assert not re.search(r"Boot\d|entry|loader|gpt:|diverted|\\\\", text)


def test_it_is_put_back_and_over(told: str) -> None:
    assert "Written and read back: 3 steps" in told
    (subject,) = (line for line in mails(told)[2] if line.startswith("Subject: "))
    assert "all clear" in subject


def test_the_mail_names_what_was_lost(told: str) -> None:
    text = "\n".join(mail(told))
    assert LOST_LOADER in text
    assert "Boot0000" in text


def test_the_mail_says_who_had_the_machine(told: str) -> None:
    assert "while another system or the firmware had the machine." in " ".join("\n".join(mail(told)).split())


def test_the_report_comes_before_the_mail(told: str) -> None:
    report, _, letter = told.partition("Subject: ")
    assert LOST_LOADER in report
    assert LOST_LOADER in letter


def test_it_fits_the_screen_and_moves_no_cursor(told: str) -> None:
    # A path can't be broken, and where the temporary folder lies is the computer's business.
    lines = [re.sub(r"/\S*bootwatch-demo-\S*", "", line) for line in told.splitlines()]
    assert [line for line in lines if len(line) > 80] == []
    assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f]", told)


def test_nothing_is_left_behind(told: str) -> None:
    (folder,) = set(re.findall(r"/\S*bootwatch-demo-[^/\s]+", told)) or {"/nonexistent"}
    assert not Path(folder).exists()


@pytest.mark.long
def test_a_machine_to_keep(tmp_path: Path) -> None:
    folder = tmp_path / "study"
    assert demo("--keep", str(folder)).returncode == 0
    assert (folder / "dev/nvme0n1").is_file()
    again = demo("--keep", str(folder))
    assert again.returncode == 2
    assert "is not empty" in again.stderr
    assert "Traceback" not in again.stderr


@pytest.mark.skipif(os.geteuid() != 0, reason="becoming another user takes root")
@pytest.mark.long
def test_without_any_rights() -> None:
    nobody = 65534
    can_read = [
        "setpriv",
        f"--reuid={nobody}",
        "--clear-groups",
        "test",
        "-r",
        str(CHECKOUT / "pyproject.toml"),
    ]
    if subprocess.run(can_read).returncode != 0:
        pytest.skip("the checkout is closed to other users")
    result = demo(user=nobody)
    assert result.returncode == 0, result.stderr
