"""A TPM for a machine: swtpm, one process a machine, its state in the machine's folder."""

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.firmware import tool


@contextmanager
def running(folder: Path) -> Iterator[tuple[str, ...]]:
    """Starts a TPM 2.0; QEMU's arguments for it. It ends with its machine, or here; what it holds stays in
    the folder for the next one."""
    # The path of a socket may have 107 bytes at most.
    with TemporaryDirectory(prefix="tpm.") as short:
        socket, state = Path(short) / "socket", folder / "tpm"
        state.mkdir(exist_ok=True)
        options = ["--tpmstate", f"dir={state}", "--ctrl", f"type=unixio,path={socket}", "--terminate"]
        process = Path(short) / "pid"
        # Comes back once the socket listens.
        tool.run(["swtpm", "socket", "--tpm2", "--daemon", "--pid", f"file={process}", *options])
        try:
            yield (
                *("-chardev", f"socket,id=tpm,path={socket}"),
                *("-tpmdev", "emulator,id=tpm,chardev=tpm", "-device", "tpm-crb,tpmdev=tpm"),
            )
        finally:
            # It takes its own file away when it ends.
            with suppress(FileNotFoundError, ProcessLookupError):
                os.kill(int(process.read_text()), signal.SIGTERM)
