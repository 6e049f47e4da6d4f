"""Writing firmware variables through efivarfs: one write(2) is one SetVariable (UEFI 2.10 §8.2)."""

from __future__ import annotations

import array
import contextlib
import errno
import fcntl
import os
import struct
from collections.abc import Iterator

from bootwatch.model.variable import Variable
from bootwatch.observe.machine import Machine, detail_of
from bootwatch.observe.variables import FOLDER
from bootwatch.problem import Problem

_ATTRIBUTES = struct.Struct("<I")
_ROOM = 64 << 10
# <linux/fs.h>; most variables are protected so, and those of the boot manager are not.
_GET_FLAGS, _SET_FLAGS = 0x80086601, 0x40086602
_IMMUTABLE = 0x10
# Where each errno comes from: the kernel's checks, or the firmware's answer.
_WHY = {
    errno.ENOSPC: "the firmware's store is full (it may make room at its next start only)",
    errno.EINVAL: "the kernel or the firmware finds its content wrong",
    errno.EIO: "the firmware failed to write it",
    errno.EROFS: "the firmware doesn't let it be written",
    errno.EACCES: "the firmware's own security forbids it",
    errno.EPERM: "the right to write it is missing",
}


class VariableStore:
    """The variables of one machine, by their file names in efivarfs."""

    def __init__(self, machine: Machine) -> None:
        self._machine = machine

    def read(self, name: str) -> Variable | None:
        """None for one that isn't there. Raises Problem when it can't be read."""
        try:
            handle = os.open(self._path(name), os.O_RDONLY | os.O_CLOEXEC | os.O_NOFOLLOW)
        except FileNotFoundError:
            return None
        except OSError as error:
            raise _problem("read", name, error) from error
        try:
            data = os.read(handle, _ROOM)  # once: each read asks the firmware
        except OSError as error:
            raise _problem("read", name, error) from error
        finally:
            os.close(handle)
        if len(data) < _ATTRIBUTES.size:
            raise Problem(f"The firmware variable {name} can't be read: it ends too early.")
        return Variable(_ATTRIBUTES.unpack_from(data)[0], data[_ATTRIBUTES.size :])

    def write(self, name: str, variable: Variable) -> None:
        """Set one variable as a whole. Raises Problem."""
        data = _ATTRIBUTES.pack(variable.attributes) + variable.data
        try:
            with self._changeable(name):
                handle = os.open(
                    self._path(name), os.O_WRONLY | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW, 0o644
                )
                try:
                    if os.write(handle, data) != len(data):
                        raise OSError(errno.EIO, os.strerror(errno.EIO))
                    self._cut(handle, len(data))
                    os.fsync(handle)
                finally:
                    os.close(handle)
        except OSError as error:
            raise _problem("written", name, error) from error

    def remove(self, name: str) -> None:
        """Delete one; one that isn't there is fine. Raises Problem."""
        try:
            with self._changeable(name):
                os.unlink(self._path(name))
        except FileNotFoundError:
            return
        except OSError as error:
            raise _problem("deleted", name, error) from error

    def _path(self, name: str) -> str:
        if "/" in name or name in ("", ".", ".."):
            raise Problem(f"{name!r} is no name of a firmware variable.")
        return os.path.join(self._machine.locate(FOLDER), name)

    @staticmethod
    def _cut(handle: int, size: int) -> None:
        """A plain file that stands for a variable keeps its former length; efivarfs sees to that itself."""
        if os.fstat(handle).st_size > size:
            with contextlib.suppress(OSError):
                os.ftruncate(handle, size)

    @contextlib.contextmanager
    def _changeable(self, name: str) -> Iterator[None]:
        """Lift the flag that protects a variable's file, where there is one, and set it again."""
        flags = self._flags(name)
        if flags is None or not flags & _IMMUTABLE:
            yield
            return
        self._set_flags(name, flags & ~_IMMUTABLE)
        try:
            yield
        finally:
            with contextlib.suppress(OSError):  # a deleted one has none any more
                self._set_flags(name, flags)

    def _flags(self, name: str) -> int | None:
        try:
            handle = os.open(self._path(name), os.O_RDONLY | os.O_CLOEXEC | os.O_NOFOLLOW)
        except OSError:
            return None
        try:
            found = array.array("l", [0])
            fcntl.ioctl(handle, _GET_FLAGS, found)
            return found[0]
        except OSError:
            return None  # a file system without such flags
        finally:
            os.close(handle)

    def _set_flags(self, name: str, flags: int) -> None:
        handle = os.open(self._path(name), os.O_RDONLY | os.O_CLOEXEC | os.O_NOFOLLOW)
        try:
            fcntl.ioctl(handle, _SET_FLAGS, array.array("l", [flags]))
        finally:
            os.close(handle)


def _problem(verb: str, name: str, error: OSError) -> Problem:
    why = _WHY.get(error.errno or 0) or detail_of(error)
    return Problem(f"The firmware variable {name} could not be {verb}: {why}.")
