"""Having a restore written, or taken back, once the person agreed."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from bootwatch.cli.kit_option import as_called
from bootwatch.cli.saving import who
from bootwatch.places import Places
from bootwatch.problem import UsageProblem

if TYPE_CHECKING:
    from bootwatch.recover.carry_out import Stopped
    from bootwatch.recover.record import Record
    from bootwatch.recover.steps import Step
    from bootwatch.service.asked import Asked

Document = dict[str, Any]


def write_it(places: Places, arguments: argparse.Namespace, made: Document, asked: Asked) -> int:
    """1 where nothing was written since the person didn't want it, or where it stopped in the middle."""
    from bootwatch.recover.carry_out import Stopped
    from bootwatch.service.restore import write
    from bootwatch.tell.restore_report import done_lines

    if not arguments.yes and not _is_agreed(arguments):
        return 1
    try:
        record = write(places, made, by=who(), asked=asked)
    except Stopped as stopped:
        return _explain(stopped, arguments)
    if arguments.json:
        print(json.dumps(restored(record), indent=1))
    elif record:
        called = as_called("restore", arguments), _look_again(asked, arguments)
        print("\n".join(["", *done_lines(record.number, len(record.written), *called)]))
    else:
        print("\nAll of it is as it should be already; nothing was written.")
    return 0


def restored(record: Record | None) -> Document:
    """What was written, as JSON; ``restore`` is 0 where there was nothing to write."""
    from bootwatch.tell.restore_report import CARE

    number, steps = (record.number, [one.step for one in record.written]) if record else (0, [])
    said = {"format": "bootwatch/restored/1", "restore": number, "steps": steps}
    return said | {"cautions": list(CARE)}


def _look_again(asked: Asked, arguments: argparse.Namespace) -> str:
    """What tells how it went; without a baseline nothing is compared."""
    if asked.kind.value == "trial":
        return f"sudo {as_called('restore', arguments)} --trial"
    return as_called("drift" if asked.kind.value == "what-was-lost" else "routes", arguments)


def undo_it(places: Places, arguments: argparse.Namespace) -> int:
    """Show what would be taken back, ask, and do it. 1 where something stays that somebody changed since."""
    from bootwatch.recover.carry_out import Stopped
    from bootwatch.service.writing import take_back, undoable
    from bootwatch.tell.restored_report import offer_to_undo, undone_report

    restores = [
        {**one.document, "restore": one.number, "finished": one.is_finished, "steps": _written(one, steps)}
        for one, steps in undoable(places)
    ]
    if not arguments.json:
        print(offer_to_undo(restores), end="")
    if not arguments.yes and not _is_agreed(arguments):
        return 1
    try:
        taken = take_back(places, by=who())
    except Stopped as stopped:
        return _explain(stopped, arguments, undoing=True)
    steps, stay = ([one.to_json() for one in steps] for steps in (taken.steps, taken.stay))
    document = {"format": "bootwatch/undone/1", "restores": taken.restores, "steps": steps, "stay": stay}
    if arguments.json:
        print(json.dumps(document, indent=1))
    else:
        print("\n" + undone_report(document, as_called("drift", arguments)), end="")
    return 1 if stay else 0


def _written(record: Record, steps: Sequence[Step]) -> list[Document]:
    """The last one first."""
    done = [step.to_json() for step, one in zip(steps, record.done, strict=True) if one.is_done]
    return done[::-1]


def _explain(stopped: Stopped, arguments: argparse.Namespace, *, undoing: bool = False) -> int:
    from bootwatch.tell.restored_report import stopped_report

    document = {
        "format": "bootwatch/stopped/1",
        "restore": stopped.number,
        "undoing": undoing,
        "problem": stopped.message,
        "hint": stopped.hint,
        "done": [one.to_json() for one in stopped.done],
        "left": [one.to_json() for one in stopped.left],
    }
    if arguments.json:
        print(json.dumps(document, indent=1))
    sys.stdout.flush()
    print("\n" + stopped_report(document, f"sudo {as_called('restore', arguments)}"), end="", file=sys.stderr)
    return stopped.status


def _is_agreed(arguments: argparse.Namespace) -> bool:
    """Nothing is written unasked: where nobody can be asked, --yes has to say it."""
    if arguments.json or not sys.stdin.isatty():
        raise UsageProblem("Nobody can be asked whether to write this; nothing was written.", "Add --yes.")
    print("\nWrite this? [y/N]: ", end="", flush=True)
    if sys.stdin.readline().strip().lower() in ("y", "yes"):
        return True
    print("Nothing was written.", file=sys.stderr)
    return False
