"""What a command prints, kept as the bytes that would reach a terminal."""

from __future__ import annotations

import contextlib
import io
from collections.abc import Iterator
from dataclasses import dataclass


@dataclass
class Said:
    """Filled when the block ends."""

    out: str = ""
    err: str = ""


@contextlib.contextmanager
def quietly() -> Iterator[Said]:
    """Standard output and standard error of what is done within."""
    said = Said()
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="") for _ in range(2))
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        yield said
    for stream in (out, err):
        stream.flush()
    said.out, said.err = (_text(stream) for stream in (out, err))


def _text(stream: io.TextIOWrapper) -> str:
    buffer = stream.buffer
    assert isinstance(buffer, io.BytesIO)
    return buffer.getvalue().decode("utf-8")
