"""How a command gets a recorded reading: the service's own reader takes it, with the reader's rights only."""

from __future__ import annotations

import os
import pwd
import sys
from collections.abc import Sequence
from pathlib import Path

from bootwatch.carried import archive
from bootwatch.observe.machine import Machine
from bootwatch.places import Places
from bootwatch.problem import MachineProblem, Problem, UsageProblem

USER = "bootwatch"
SENDER = "bootwatch-send"
_SYSTEMD = Path("/run/systemd/system")


def must_ask(places: Places) -> bool:
    """Whether a reading is the service's: root's command on the running machine. Root itself parses nothing.

    Raises UsageProblem when root names other places, which the service knows nothing of.
    """
    if not places.is_this_machine or os.geteuid() != 0:
        return False
    if places.from_kit or archive():  # there is no service that would know of it
        return False
    if places != Places.below(places.root):
        raise UsageProblem(
            "For this machine root's readings are taken by the service, in its usual places.",
            "Leave out --state and --config; or look at a copy of the machine with --root.",
        )
    return True


def ask_for_reading(instance: str) -> None:
    """Have a reading taken and recorded; back when that is done. Raises Problem when it failed."""
    from bootwatch.service.uefi import require_uefi

    if not Path("/var/lib/bootwatch/baseline").is_dir():
        require_uefi(Machine())
    _require_user("Install bootwatch first: sudo ./packaging/install (or look at a folder with --root).")
    if _SYSTEMD.is_dir():
        _start_unit(instance)
    else:
        _run_child(instance)


def as_reader(arguments: Sequence[str], descriptors: Sequence[int] = ()) -> int:
    """Run a command of ours as the service's user with no rights besides, and return its exit status.

    For what has hostile bytes in it, or writes where that user does. Files that only root may open are handed
    over as open ``descriptors`` under their own numbers. Raises UsageProblem where there is no such user.
    """
    return _as_user(USER, arguments, descriptors)


def as_sender(arguments: Sequence[str], descriptors: Sequence[int] = ()) -> int:
    """The same as the user who sends: for what talks with servers out there."""
    return _as_user(SENDER, arguments, descriptors)


def _as_user(user: str, arguments: Sequence[str], descriptors: Sequence[int]) -> int:
    import subprocess

    _require_user("Install bootwatch first: sudo ./packaging/install. Or do it without sudo.", user)
    sys.stdout.flush()
    done = subprocess.run(
        [*_dropping("--clear-groups", "-all", user), *_program(), *arguments],
        stdin=subprocess.DEVNULL,
        pass_fds=tuple(descriptors),
        env=_environment(),
        check=False,
    )
    if done.returncode < 0:
        raise Problem("The command was ended before it was done.", "Run it once more.")
    return done.returncode


def _require_user(hint: str, user: str = USER) -> None:
    try:
        pwd.getpwnam(user)
    except KeyError as error:
        task = "sends messages" if user == SENDER else "reads the machine"
        said = f"The user {user}, who {task}, does not exist here."
        raise UsageProblem(said, hint) from error


def _dropping(groups: str, capabilities: str, user: str = USER) -> list[str]:
    """What to put before a command so that it runs as one of the services' users with these capabilities."""
    known = pwd.getpwnam(user)
    return [
        "setpriv", f"--reuid={known.pw_uid}", f"--regid={known.pw_gid}", groups, f"--inh-caps={capabilities}",
        f"--ambient-caps={capabilities}", f"--bounding-set={capabilities}", "--no-new-privs",
    ]  # fmt: skip


def _program() -> list[str]:
    return [sys.executable, "-P", "-m", "bootwatch.cli"]


def _environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parents[2])}


def _start_unit(instance: str) -> None:
    import subprocess

    from bootwatch.service.uefi import require_uefi

    unit = f"bootwatch-read@{instance}.service"
    done = subprocess.run(
        ["systemctl", "start", unit], stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
    )
    if done.returncode == 0:
        return
    require_uefi(Machine())
    said = done.stderr.strip().splitlines()
    raise Problem(
        f"The reading failed: {said[0] if said else f'{unit} did not succeed'}",
        f"Its own words: journalctl -u {unit} -n 20",
    )


def _run_child(instance: str) -> None:
    """Without systemd there is no sandbox; the rights are dropped all the same."""
    import subprocess

    print(f"bootwatch: systemd is not running here: reading as a child, as the user {USER}", file=sys.stderr)
    for name in ("history", "spool"):
        if not (Path("/var/lib/bootwatch") / name).is_dir():
            raise UsageProblem(
                "The folders below /var/lib/bootwatch are not there yet.",
                "Install bootwatch: sudo ./packaging/install",
            )
    command = [*_dropping("--init-groups", "-all,+dac_read_search"), *_program()]
    command += ["snapshot", "--moment", instance]
    # What it says on standard output is for whoever ran it, who is we: a document may follow there.
    done = subprocess.run(
        command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, env=_environment(), check=False
    )
    if done.returncode:
        raise MachineProblem("The reading failed.", "Its own words stand above.")
