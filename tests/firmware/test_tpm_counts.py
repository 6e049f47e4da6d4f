"""The TPM's counts by a TPM that works: swtpm on a terminal that passes bytes on, beside tpm2_readclock."""

import os
import re
import subprocess
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from bootwatch.observe.machine import Machine
from bootwatch.observe.tpm import TpmCounts, read_tpm
from tests.firmware import tool

pytestmark = pytest.mark.firmware


@contextmanager
def switched_on(state: Path) -> Iterator[str]:
    """A TPM that was started up from its state (TPM2_Startup CLEAR); the path of its device."""
    far, near = os.openpty()
    tty.setraw(near)
    where = ("--fd", str(far), "--tpmstate", f"dir={state}", "--flags", "not-need-init,startup-clear")
    process = subprocess.Popen(["swtpm", "chardev", "--tpm2", *where], pass_fds=[far], stderr=subprocess.PIPE)
    os.close(far)
    try:
        yield os.ttyname(near)
    finally:
        os.close(near)  # it ends by itself then
        process.communicate(timeout=20)


def told(device: str) -> TpmCounts:
    text = tool.run(["tpm2_readclock", "--tcti", f"device:{device}"]).decode()
    counts = dict(re.findall(r"(reset|restart)_count: (\d+)", text))
    return TpmCounts(int(counts["reset"]), int(counts["restart"]))


def test_resets_are_counted_as_the_tool_does(tmp_path: Path) -> None:
    seen = []
    for _ in range(3):
        with switched_on(tmp_path) as device:
            counts = read_tpm(Machine("/"), device.lstrip("/"))
            assert counts == told(device)
            assert counts.resets is not None
            seen.append(counts.resets)
    assert seen == [seen[0], seen[0] + 1, seen[0] + 2]
