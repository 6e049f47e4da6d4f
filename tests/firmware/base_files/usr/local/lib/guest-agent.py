"""Runs what the test on the host asks for, one request at a time: lines of JSON both ways (host: agent.py).

Requests: {"run": shell command} | {"put": path, "mode": octal, "data": base64} | {"get": path}.
Answers: {"output": text} as it comes, then {"status": exit status}; {"data": base64}; {"error": why not}.
"""

import base64
import codecs
import contextlib
import json
import os
import select
import signal
import subprocess
import sys
from collections.abc import Iterator
from typing import IO, Any, cast

ENVIRONMENT = {
    "PATH": "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin",
    "HOME": "/root",
    "LANG": "C.UTF-8",
}


class Port:
    """The serial port to the host: whole lines in, whole lines out."""

    def __init__(self, path: str) -> None:
        self.fd = os.open(path, os.O_RDWR)
        self.pending = b""

    def read_line(self) -> Any:
        while b"\n" not in self.pending:
            chunk = os.read(self.fd, 1 << 16)
            if not chunk:  # the host has hung up; the service manager starts another one
                raise SystemExit
            self.pending += chunk
        line, _, self.pending = self.pending.partition(b"\n")
        return json.loads(line)

    def say(self, **answer: object) -> None:
        line = json.dumps(answer).encode() + b"\n"
        while line:
            line = line[os.write(self.fd, line) :]


def start(command: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        ["/bin/bash", "-c", command],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        env=ENVIRONMENT,
        cwd="/root",
        start_new_session=True,
    )


def read_all(output: int, group: int, ended: int) -> Iterator[bytes]:
    """What the command says. When it has ended, whatever it left behind (a follower of the journal, say) is
    killed, so that the pipe ends too."""
    waiting = select.poll()
    waiting.register(output, select.POLLIN)
    waiting.register(ended, select.POLLIN)
    while True:
        ready = [fd for fd, _ in waiting.poll()]
        if output not in ready:
            waiting.unregister(ended)
            kill_group(group)
        elif chunk := os.read(output, 1 << 16):
            yield chunk
        else:
            return


def kill_group(group: int) -> None:
    with contextlib.suppress(ProcessLookupError):
        os.killpg(group, signal.SIGKILL)


def run(port: Port, command: str) -> None:
    child = start(command)
    output = cast(IO[bytes], child.stdout)
    ended = os.pidfd_open(child.pid)
    decoder = codecs.getincrementaldecoder("utf-8")("replace")
    for chunk in read_all(output.fileno(), child.pid, ended):
        port.say(output=decoder.decode(chunk))
    os.close(ended)
    port.say(status=child.wait())
    output.close()


def put(port: Port, path: str, mode: int, data: str) -> None:
    os.makedirs(os.path.dirname(path), exist_ok=True)
    fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, mode)
    with os.fdopen(fd, "wb") as file:
        os.fchmod(fd, mode)
        file.write(base64.b64decode(data))
    port.say(status=0)


def get(port: Port, path: str) -> None:
    with open(path, "rb") as file:
        port.say(data=base64.b64encode(file.read()).decode())


def answer(port: Port, request: dict[str, str]) -> None:
    try:
        if "run" in request:
            run(port, request["run"])
        elif "put" in request:
            put(port, request["put"], int(request["mode"], 8), request["data"])
        else:
            get(port, request["get"])
    except (OSError, LookupError, ValueError) as error:
        port.say(error=str(error))


def main(path: str) -> None:
    port = Port(path)
    with open("/proc/sys/kernel/random/boot_id") as file:
        port.say(ready=file.read().strip())
    while True:
        answer(port, port.read_line())


main(sys.argv[1])
