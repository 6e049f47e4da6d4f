"""The host's side of the agent in the guest (base_files/usr/local/lib/guest-agent.py)."""

import base64
from typing import NamedTuple

from tests.firmware.process import SILENCE, Process


class Result(NamedTuple):
    """What a command in the guest came to."""

    status: int
    output: str


class Agent:
    """Runs commands in the guest and moves files; MachineFailed when the guest falls silent or ends."""

    def __init__(self, process: Process) -> None:
        self._process = process

    def ready(self, silence: float) -> str:
        """Waits for the agent of a start to come up; the kernel's boot id."""
        return str(self._process.wait_event(self._process.agent, "ready", silence)["ready"])

    def run(self, command: str, silence: float = SILENCE) -> Result:
        """Runs a shell command as root. What it left running ends too, unless its output goes elsewhere."""
        self._process.agent.send({"run": command})
        output = []
        while True:
            answer = self._process.next_event(self._process.agent, silence)
            if "output" in answer:
                output.append(answer["output"])
            elif "status" in answer:
                return Result(answer["status"], "".join(output))
            else:
                raise self._process.failure(f"`{command}` was not run: {answer}")

    def put(self, path: str, content: bytes, mode: int = 0o644) -> None:
        """Writes a file, with the folders it needs."""
        data = base64.b64encode(content).decode()
        self._process.agent.send({"put": path, "mode": f"{mode:o}", "data": data})
        self._answer("status")

    def get(self, path: str) -> bytes:
        """Reads a file."""
        self._process.agent.send({"get": path})
        return base64.b64decode(self._answer("data"))

    def _answer(self, key: str) -> str:
        answer = self._process.next_event(self._process.agent)
        if key not in answer:
            raise self._process.failure(f"the agent answered {answer}")
        return str(answer[key])
