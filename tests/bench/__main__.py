"""All benches that hold a promise, and one table of what they found.

    python -m tests.bench [NAME ...]

NAME is one of snapshot, fat, options, growth, watch. Ends with 1 when a ratio is above its limit. Each figure
is held against a reference that runs in turn with it; on a busy machine both are slower. Takes some minutes.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable

from tests.bench import bench_fat, bench_growth, bench_load_options, bench_snapshot, bench_watch
from tests.bench.figure import Figure, table

BENCHES: dict[str, Callable[[], Iterable[Figure]]] = {
    "snapshot": bench_snapshot.figures,
    "fat": bench_fat.figures,
    "options": bench_load_options.figures,
    "growth": bench_growth.figures,
    "watch": bench_watch.figures,
}


def main(names: list[str]) -> int:
    unknown = [name for name in names if name not in BENCHES]
    if unknown:
        print(f"There is no bench {unknown[0]}; there are {', '.join(BENCHES)}.", file=sys.stderr)
        return 2
    found = []
    for figure in (figure for name in names or BENCHES for figure in BENCHES[name]()):
        found.append(figure)
        print(f"{figure.what}: {figure.ratio:.2f}", file=sys.stderr)  # they take their time
    print(table(found))
    return 0 if all(figure.is_within for figure in found) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
