"""Hashing in a second thread gives what hashing at once gives."""

import errno
import hashlib
import io
import threading

import pytest

from bootwatch.observe.hashing import hash_rest


@pytest.mark.parametrize("size", [0, 1, 512 << 10, (512 << 10) + 1, 1_300_000])
def test_the_same_digest(size: int) -> None:
    data = hashlib.shake_128(b"initrd").digest(size)
    digest = hashlib.sha256(b"begun")
    assert hash_rest(io.BytesIO(data).readinto, digest) == size
    assert digest.digest() == hashlib.sha256(b"begun" + data).digest()


def test_what_fails_in_reading_is_said_and_leaves_no_thread() -> None:
    left = [700_000]

    def read_into(buffer: memoryview) -> int:
        if not left:
            raise OSError(errno.EIO, "a bad sector")
        return left.pop() and len(buffer)

    before = threading.active_count()
    with pytest.raises(OSError, match="bad sector"):
        hash_rest(read_into, hashlib.sha256())
    assert threading.active_count() == before
