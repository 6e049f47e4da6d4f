"""Plays situations and writes what people are told in them: python -m tests.situations.make [NAME...]

Rewrites ``told.txt`` in each situation's folder and ``owner.txt`` in some, which are then to be read, and
prints a table of all of them: the worst level at the end, who had the machine, whether anybody was told, and
every line that is otherwise than ``situation.yaml`` expects. Ends with 1 if there is any.
"""

from __future__ import annotations

import sys

from tests.situations.expected import differences
from tests.situations.owner import NAMES as OWNERS
from tests.situations.owner import owners_words
from tests.situations.play import HERE, Stage, Told, load, names

_CUSTODY = {"another system or the firmware": "elsewhere", "this system": "here", "unknown": "unknown"}


def main(wanted: list[str]) -> int:
    """0 where all is as expected."""
    with Stage.made() as stage:
        wrong = [name for name in wanted or names() if not _make(stage, name)]
    return 1 if wrong else 0


def _make(stage: Stage, name: str) -> bool:
    """Write what is told in one situation; whether all is as expected."""
    try:
        told = stage.play(load(name))
    except (ValueError, KeyError, AttributeError) as error:
        print(f"{name}\n    it can't be played: {type(error).__name__}: {error}")
        return False
    (HERE / name / "told.txt").write_text(told.text, "utf-8")
    if name in OWNERS:
        (HERE / name / "owner.txt").write_text(owners_words(told), "utf-8")
    found = wrongs(told)
    print("\n    ".join([_line(name, told), *found]))
    return not found


def wrongs(told: Told) -> list[str]:
    """All that is otherwise than expected, at any snapshot."""
    last = told.scenes[-1]
    return [line for scene in told.scenes for line in differences(scene, scene is last)]


def _line(name: str, told: Told) -> str:
    drift = told.scenes[-1].drift
    custody = {_CUSTODY[change.custody.value] for change in drift.changes}
    messages = [scene.message for scene in told.scenes if scene.message]
    said = ", ".join(one.worst_news.value if one.worst_news else "?" for one in messages) or "nobody"
    level = drift.level.value if drift.level else "as it was"
    return f"{name:<44} {level:<10} {'/'.join(sorted(custody)) or '-':<18} told: {said}"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
