"""Writing firmware variables through efivarfs: one write(2) is one SetVariable (UEFI 2.10 §8.2)."""

from __future__ import annotations

import array
import contextlib
import errno
import fcntl
import os
import struct
from collections.abc import Iterator, Mapping
from pathlib import Path

from bootwatch.keep.files import write_whole
from bootwatch.model.variable import Variable
from bootwatch.observe.machine import Machine, detail_of
from bootwatch.observe.variable_store import is_efivarfs, read_store
from bootwatch.observe.variables import FOLDER
from bootwatch.problem import Problem

_ATTRIBUTES = struct.Struct("<I")
_ROOM = 64 << 10
# What a store needs beside name and content: edk2's header of an authenticated variable, and its alignment.
_HEADER = 64
# <linux/fs.h>; most variables are protected so, and those of the boot manager are not.
_FLAGS = array.array("l", [0])
_GET_FLAGS = 2 << 30 | _FLAGS.itemsize << 16 | ord("f") << 8 | 1
_SET_FLAGS = 1 << 30 | _FLAGS.itemsize << 16 | ord("f") << 8 | 2
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

    def require_writable(self) -> None:
        """Raises Problem where no variable can be written at all."""
        folder = self._machine.locate(FOLDER)
        try:
            is_read_only = os.statvfs(folder).f_flag & os.ST_RDONLY
        except OSError as error:
            raise Problem(f"The firmware's variables are not there: {folder}: {detail_of(error)}.") from error
        if is_read_only:
            raise Problem(
                f"The firmware's variables are mounted read-only at {folder}.",
                f"sudo mount -o remount,rw {folder}",
            )

    def require_room(self, wanted: Mapping[str, Variable]) -> None:
        """Raises Problem where the firmware says that its store hasn't the room. It may not know."""
        free = read_store(self._machine).free
        needed = sum(
            _HEADER + 2 * (len(name) - len("-") - 36 + 1) + len(variable.data)
            for name, variable in wanted.items()
        )
        if free is not None and needed > free:
            raise Problem(
                f"The firmware's store has no room: {needed} bytes are needed, and {free} may be written.",
                "Restart once: many firmwares make room then. Else see: bootwatch meaning store-full",
            )

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
        if not data:
            return None  # a file was made for it, and nothing ever written: the firmware has none
        if len(data) < _ATTRIBUTES.size:
            raise Problem(f"The firmware variable {name} can't be read: it ends too early.")
        return Variable(_ATTRIBUTES.unpack_from(data)[0], data[_ATTRIBUTES.size :])

    def write(self, name: str, variable: Variable) -> None:
        """Set one variable as a whole. Raises Problem."""
        data = _ATTRIBUTES.pack(variable.attributes) + variable.data
        try:
            with self._changeable(name):
                self._set(self._path(name), data)
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

    def _set(self, path: str, data: bytes) -> None:
        flags = os.O_WRONLY | os.O_CLOEXEC | os.O_NOFOLLOW
        is_new = False
        try:
            handle = os.open(path, flags)
        except FileNotFoundError:
            handle, is_new = os.open(path, flags | os.O_CREAT | os.O_EXCL, 0o644), True
        try:
            if os.fstat(handle).st_size > len(data) and not self._is_real:
                # A plain file that stands for a variable would keep its end; efivarfs sees to that itself.
                write_whole(Path(path), data, 0o644, beside=Path(path).parents[1])
            elif os.write(handle, data) != len(data):
                raise OSError(errno.EIO, os.strerror(errno.EIO))
        except OSError:
            if is_new:  # efivarfs keeps the empty file of a variable that the firmware refused
                with contextlib.suppress(OSError):
                    os.unlink(path)
            raise
        finally:
            os.close(handle)

    @property
    def _is_real(self) -> bool:
        return is_efivarfs(self._machine, self._machine.locate(FOLDER))

    def _path(self, name: str) -> str:
        if "/" in name or "\0" in name or name in ("", ".", ".."):
            raise Problem(f"{name!r} is no name of a firmware variable.")
        return os.path.join(self._machine.locate(FOLDER), name)

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
            found = _FLAGS[:]
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
