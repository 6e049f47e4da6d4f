"""Lists of problems that stay short, however damaged the bytes are."""

MOST = 64


def bounded(problems: list[str]) -> list[str]:
    """The first problems, each once, and how many more there are.

    >>> bounded(["cut off", "cut off", "overlaps"])
    ['cut off', 'overlaps']
    >>> bounded([f"partition {number}: overlaps" for number in range(100)])[-1]
    '36 more problems'
    """
    each = list(dict.fromkeys(problems))
    left = len(each) - MOST
    return each if left <= 0 else [*each[:MOST], f"{left} more problem{'s' if left > 1 else ''}"]
