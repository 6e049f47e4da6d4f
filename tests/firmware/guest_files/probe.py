"""Run in a unit's place, within its sandbox: tries what the unit must not be able to do, and prints how it
went.

Reads attempts, as JSON, from beside itself: each a kind and a path. What it prints is one line of JSON: for
each attempt the name of the kernel's refusal, "done", or what it saw.
"""

import ctypes
import errno
import json
import os
import socket
from collections.abc import Callable

PLACE = os.path.dirname(os.path.abspath(__file__))
LIBC = ctypes.CDLL(None, use_errno=True)


def write(path: str) -> None:
    os.close(os.open(path, os.O_WRONLY))


def create(path: str) -> None:
    os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))


def remove(path: str) -> None:
    os.unlink(path)


def read(path: str) -> str:
    with open(path, "rb") as file:
        return "MARKER" if b"MARKER" in file.read(1 << 20) else "hidden"


def listing(path: str) -> str:
    return ",".join(sorted(os.listdir(path))) or "hidden"


def connect(address: str) -> None:
    host, port = address.rsplit(":", 1)
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as one:
        one.settimeout(10)
        one.connect((host, int(port)))


def mount(path: str) -> None:
    if LIBC.mount(b"none", path.encode(), b"ramfs", 0, None):
        raise OSError(ctypes.get_errno(), "mount")


def unmount(path: str) -> None:
    if LIBC.umount2(path.encode(), 2):
        raise OSError(ctypes.get_errno(), "umount")


def unshare(_: str) -> None:
    if LIBC.unshare(0x10000000):  # CLONE_NEWUSER
        raise OSError(ctypes.get_errno(), "unshare")


def node(path: str) -> None:
    os.mknod(path, 0o600 | 0o060000, os.makedev(254, 0))


def become(_: str) -> None:
    os.setuid(0)


def signal(pid: str) -> None:
    os.kill(int(pid), 0)


KINDS: dict[str, Callable[[str], str | None]] = {
    one.__name__: one
    for one in (write, create, remove, read, listing, connect, mount, unmount, unshare, node, become, signal)
}


def tried(kind: str, path: str) -> str:
    try:
        return KINDS[kind](path) or "done"
    except TimeoutError:
        return "no answer"
    except OSError as error:
        return errno.errorcode.get(error.errno or 0, str(error))


def main() -> None:
    with open(f"{PLACE}/attempts.json") as file:
        attempts = json.load(file)
    if attempts["wait"]:
        for pipe in ("up", "go"):
            with open(f"{PLACE}/{pipe}") as file:
                file.read()  # waits for the other side
    print(json.dumps([tried(*one) for one in attempts["tries"]]), flush=True)


if __name__ == "__main__":
    main()
