"""One look at a machine root in a process of its own, as JSON: so that faults can be put into its calls."""

from __future__ import annotations

import json
import sys

from bootwatch.model.snapshot import Moment
from bootwatch.observe.machine import Machine
from bootwatch.observe.snapshot import observe


def main() -> None:
    snapshot = observe(Machine(sys.argv[1]), Moment.ASKED, named=sys.argv[2:])
    gaps = [gap.to_json() for gap in snapshot.gaps]
    print(json.dumps({"gaps": gaps, "parts": snapshot.state.parts(), "mounts": snapshot.circumstance.mounts}))


if __name__ == "__main__":
    main()
