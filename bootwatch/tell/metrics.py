"""What monitoring reads: figures in Prometheus' text format, for the node exporter's text-file collector.

What can't be told is left out; it is never 0.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from bootwatch import __version__
from bootwatch.keep.files import write_whole
from bootwatch.model.change import Drift
from bootwatch.model.level import Level
from bootwatch.places import Places
from bootwatch.tell.plain import plain

FILE = "metrics.prom"
_MODE = 0o644
_HELP = {
    "build_info": "Which version of bootwatch looks at this machine; always 1.",
    "last_look_seconds": "Unix time of the newest snapshot.",
    "unread_parts": "How many parts of the machine could not be read at the last look.",
    "system_starts": "Whether a system would start; left out where that could not be told, and for systems "
    "on removable disks.",
    "next_start_expected": "Whether the usual system would start at the next switch-on; left out where that "
    "could not be told, or there is no baseline.",
    "open_alerts": "Changes and findings that people must hear of, by level, seen now or not; left out where "
    "nothing could be compared with a baseline.",
}

Samples = Mapping[str, float]
"""Values by what stands in braces behind the metric's name, "" without any."""


@dataclass(frozen=True)
class Figures:
    """What one look gave. ``looked`` is its time (RFC 3339); ``starts`` are systems' names, as they come from
    the machine, and whether each starts; ``unread`` counts gaps. None: not known."""

    looked: str
    starts: Sequence[tuple[str, bool | None]]
    next_expected: bool | None
    open_levels: Mapping[Level, int] | None
    unread: int


def open_levels(drift: Drift, known: Collection[str] = (), hidden: Iterable[Level] = ()) -> dict[Level, int]:
    """How many changes and findings of each level are open, routine ones and the findings ``known`` apart.

    ``hidden``: the levels of those that people were told of and that can't be seen at the moment. They count
    as they were: what could not be read is no all-clear.
    """
    counted = Counter([*(change.level for change in drift.changes), *hidden])
    counted.update(finding.level for finding in drift.findings if finding.id not in known)
    return {level: counted[level] for level in Level if level is not Level.ROUTINE}


def publish(places: Places, figures: Figures) -> None:
    """Write the metrics below ``<run>``; nothing where the root has no /run. Raises OSError."""
    if places.run is not None:
        places.run.mkdir(mode=0o755, exist_ok=True)
        write_whole(places.run / FILE, text(figures).encode(), _MODE)


def text(figures: Figures) -> str:
    """All metrics that can be told, in the text exposition format, version 0.0.4."""
    return "".join(f"{line}\n" for name in _HELP for line in _metric(name, _samples(name, figures)))


def _metric(name: str, samples: Samples) -> Iterator[str]:
    if samples:
        yield f"# HELP bootwatch_{name} {_HELP[name]}"
        yield f"# TYPE bootwatch_{name} gauge"
    for labels, value in samples.items():
        yield f"bootwatch_{name}{labels} {value:.15g}"


def _samples(name: str, figures: Figures) -> Samples:
    match name:
        case "build_info":
            return {_label("version", __version__): 1}
        case "last_look_seconds":
            return {"": datetime.fromisoformat(figures.looked).timestamp()}
        case "unread_parts":
            return {"": figures.unread}
        case "system_starts":
            return _starts(figures.starts)
        case "next_start_expected":
            return {} if figures.next_expected is None else {"": figures.next_expected}
        case _:
            return {_label("level", level): count for level, count in (figures.open_levels or {}).items()}


def _starts(systems: Iterable[tuple[str, bool | None]]) -> Samples:
    """One sample a name, since the same one twice would spoil the whole file: the worst that is known."""
    found: dict[str, set[bool | None]] = {}
    for name, starts in systems:
        found.setdefault(_label("system", name), set()).add(starts)
    return {
        label: False not in verdicts
        for label, verdicts in found.items()
        if False in verdicts or None not in verdicts
    }


def _label(name: str, value: str) -> str:
    """A label with its value: harmless text, in which backslash and quote are then escaped."""
    escaped = plain(value).replace("\\", "\\\\").replace('"', '\\"')
    return f'{{{name}="{escaped}"}}'
