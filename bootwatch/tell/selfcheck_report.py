"""How bootwatch itself is, a line or two for each thing that was looked at."""

from __future__ import annotations

from collections.abc import Sequence

from bootwatch.model.checkup import Check, State
from bootwatch.tell.layout import wrapped
from bootwatch.tell.phrases import counted

_WORDS = {State.FINE: "fine", State.WRONG: "WRONG", State.UNKNOWN: "?"}


def selfcheck_report(checks: Sequence[Check], width: int = 80) -> str:
    """What is wrong first in one line, then each check. Ends with a newline."""
    wrong = sum(check.state is State.WRONG for check in checks)
    lines = [_head(wrong), ""]
    for check in checks:
        head = f"{_WORDS[check.state]:<6} {check.name:<11} "
        lines += wrapped(check.said, width, head)
        lines += wrapped(check.mend, width, " " * len(head), breaks=False) if check.mend else []
    return "\n".join(lines) + "\n"


def _head(wrong: int) -> str:
    if not wrong:
        return "bootwatch works, as far as it was looked at."
    verb = "is" if wrong == 1 else "are"
    return f"{counted(wrong, 'thing')} {verb} wrong with bootwatch itself."
