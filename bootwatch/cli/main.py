"""The command line."""

from __future__ import annotations

import argparse
import errno
import gc
import io
import json
import os
import sys
from collections.abc import Sequence
from importlib import import_module

from bootwatch import __version__
from bootwatch.places import Places
from bootwatch.problem import Problem, UsageProblem
from bootwatch.tell.plain import plain

# In the order in which --help shows them; each lies in a module of its name.
_COMMANDS = (
    "snapshot",
    "baseline",
    "drift",
    "routes",
    "rehearse",
    "restore",
    "history",
    "alerts",
    "selfcheck",
    "send",
    "meaning",
    "heard",
    "machine-key",
    "rollcall",
    "desktop",
    "watch",
    "demo",
)
_WITH_VALUE = ("--root", "--state", "--config")

# What a failing disk, or one that was taken out of use, answers anywhere.
_DISK = frozenset({errno.EIO, errno.EROFS, errno.EUCLEAN, errno.ENODEV, errno.ESTALE})


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; its exit status: 0 fine, 1 drift, 2 usage, 3 not readable, 4 no baseline."""
    # One command and out: looking for garbage among what is still in use costs a third of a large comparison.
    gc.set_threshold(200_000, 20, 20)
    try:
        arguments = _parser_for(sys.argv[1:] if argv is None else argv).parse_args(argv)
    except SystemExit as leave:  # argparse has said why
        return leave.code if isinstance(leave.code, int) else 2
    arguments.places = Places.below(arguments.root, arguments.state, arguments.config)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a label may not exist in the terminal's encoding
    try:
        _require_folder(arguments.root)
        status = int(arguments.run(arguments))
        sys.stdout.flush()
        return status
    except Problem as problem:
        return _explain(problem, as_json=getattr(arguments, "json", False))
    except ModuleNotFoundError as error:
        return _explain(_lacking(error), as_json=getattr(arguments, "json", False))
    except BrokenPipeError:
        sys.stderr.close()  # whoever read has enough; nothing more can be said
        return 0
    except OSError as error:
        if error.errno == errno.ENOSPC:
            sys.stderr.write("bootwatch: there is no room left to write to.\n")
            # What is still buffered would fail again at the end.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            return 3
        if error.errno not in _DISK or not error.filename:
            raise
        failing = Problem(f"{error.filename}: {error.strerror}.", "See whether its disk is failing.")
        return _explain(failing, as_json=getattr(arguments, "json", False))
    except KeyboardInterrupt:
        return 130


def _lacking(error: ModuleNotFoundError) -> Problem:
    """Some commands need libraries, which the program in a recovery kit may have to do without."""
    name = (error.name or "").partition(".")[0]
    if name in ("", "bootwatch"):
        raise error
    return UsageProblem(
        f"This needs the Python library {name}, which isn't here.",
        "Without libraries there are: snapshot --to FILE, routes, rehearse, drift --kit KIT, restore "
        "--kit KIT, restore --without-baseline, heard, meaning. For all else install bootwatch: "
        "sudo ./packaging/install",
    )


def _require_folder(root: str) -> None:
    if not os.path.isdir(root):
        raise UsageProblem(
            f"There is no folder {root}.", "--root names the folder that stands for the machine's root."
        )


def _parser_for(argv: Sequence[str]) -> argparse.ArgumentParser:
    """The parser with nothing but the command that is named: reading the others in takes longer than most
    commands do. With all of them where none is named plainly."""
    words = iter(argv)
    for word in words:
        if word in _COMMANDS:
            return parser((word,))
        if word in _WITH_VALUE:
            next(words, None)
        elif not word.startswith(tuple(f"{option}=" for option in _WITH_VALUE)):
            break
    return parser()


def parser(named: Sequence[str] = _COMMANDS) -> argparse.ArgumentParser:
    """The command line with the commands ``named``; by default all, for the manual and its tests too."""
    top = argparse.ArgumentParser(
        prog="bootwatch",
        description="Watches over what a PC that starts two systems needs in order to start them.",
        epilog="Without a command: the answer in three lines.",
    )
    top.add_argument("--root", default="/", metavar="DIR", help="the machine's root folder (default: /)")
    top.add_argument(
        "--state", metavar="DIR", help="where baseline and history lie (default: ROOT/var/lib/bootwatch)"
    )
    top.add_argument(
        "--config", metavar="FILE", help="the settings (default: ROOT/etc/bootwatch/bootwatch.yaml)"
    )
    top.add_argument("--version", action="version", version=f"bootwatch {__version__}")
    top.set_defaults(run=_answer, json=False)
    commands = top.add_subparsers(metavar="COMMAND", title="commands")
    for name in named:
        import_module(f"bootwatch.cli.{name.replace('-', '_')}").add(commands)
    return top


def _answer(arguments: argparse.Namespace) -> int:
    from bootwatch.cli import answer

    return answer.run(arguments)


def _explain(problem: Problem, as_json: bool) -> int:
    """One line and a hint for people; the same as data where data was asked for."""
    if as_json:
        document = {"format": "bootwatch/problem/1", "problem": problem.message, "hint": problem.hint}
        print(json.dumps(document, indent=1))
    lines = [f"bootwatch: {line}" for line in problem.message.splitlines()] + problem.hint.splitlines()
    print("\n".join(plain(line, 4000) for line in lines), file=sys.stderr)
    return problem.status
