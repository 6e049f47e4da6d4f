"""A drift and a message as they come from judging, for the tests of every outlet."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from bootwatch.model.change import Change, Custody, Drift, Finding
from bootwatch.model.evidence import Evidence, Trace
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.level import Level
from bootwatch.model.message import Message
from bootwatch.tell.report import Facts

VOLUME = "gpt:6f3c2f7e-11d2-4a7b-9c55-0a1b2c3d4e5f"
LOADER = "\\EFI\\fernwick\\loaderx64.efi"

FERNWICK = {
    "entry": "Boot0003",
    "label": "Fernwick Linux",
    "volume": VOLUME,
    "file": LOADER,
    "active": True,
    "data": "",
}
QUARRY = {"entry": "Boot0001", "label": "Quarry"}

FACTS = Facts(
    machine="reading-room-3",
    time="2026-11-25T07:12:05Z",
    baseline_saved="2026-11-20T14:02:00Z",
    baseline_reason="installed",
    snapshot=5,
)


def change(
    name: str,
    level: Level,
    system: str | None,
    what: str,
    before: Any = None,
    after: Any = None,
    where: str = VOLUME,
    between: tuple[int | None, int | None] = (4, 5),
    custody: Custody = Custody.UNKNOWN,
) -> Change:
    return Change(
        f"{name}:7c1e", name, level, system, what, where, before, after, "", custody=custody, between=between
    )


ENTRY_MISSING = change(
    "entry-missing",
    Level.WEAKENED,
    "Fernwick Linux",
    'the entry "Fernwick Linux"',
    FERNWICK,
    None,
    where=f"Boot0003 {VOLUME}",
)
LOADER_MISSING = change(
    "loader-missing",
    Level.WEAKENED,
    "Fernwick Linux",
    f"the loader {LOADER}",
    {"size": 143360, "sha256": "ab" * 32},
    None,
    where=f"{VOLUME} {LOADER}",
)
ORDER_CHANGED = change(
    "order-changed",
    Level.CHANGED,
    None,
    "the boot order",
    [FERNWICK, QUARRY],
    [QUARRY],
    where="BootOrder",
)
SEED_CHANGED = change(
    "file-changed",
    Level.ROUTINE,
    None,
    "the file \\loader\\random-seed",
    {"size": 512, "sha256": "ab" * 32},
    {"size": 512, "sha256": "cb" * 32},
)

DRIFT = Drift(
    changes=(ENTRY_MISSING, LOADER_MISSING, ORDER_CHANGED, SEED_CHANGED),
    findings=(
        Finding(
            "removable-first:0a1b", "removable-first", Level.CHANGED, None, 'the entry "Stick"', "Boot0009"
        ),
    ),
    gaps=(
        Gap("volume", "gpt:11111111-11d2-4a7b-9c55-0a1b2c3d4e5f", Reason.UNREADABLE, "I/O error on sdb2"),
        Gap("variables", "db-d719b2cb-3d3a-4596-a3bc-dad00e67656f", Reason.DENIED, ""),
    ),
)
QUIET = Drift((), (), ())

NO_WAY = Finding(
    "no-way-left:11aa", "no-way-left", Level.STRANDED, "Fernwick Linux", "Fernwick Linux", "Boot0003"
)
STICK_FIRST = replace(DRIFT.findings[0], level=Level.WEAKENED)

KNOWN = (
    Evidence(Trace.STARTS_UNSEEN, "The TPM counted 2 starts that this system did not see."),
    Evidence(Trace.FILES_TOUCHED, "Files that Quarry writes at its starts were written."),
)
RULE = "Quarry changed its own files while it had the machine; both systems started since."


def elsewhere(one: Change, between: tuple[int, int] = (4, 5), known: tuple[Evidence, ...] = KNOWN) -> Change:
    """The change, while another system or the firmware had the machine."""
    return replace(one, custody=Custody.ELSEWHERE, between=between, evidence=known)


def update(system: str | None = "Quarry", files: int = 11, rule: str = RULE) -> tuple[Change, ...]:
    """An accepted update of a system: a loader and some files."""
    names = ["loader-changed", *["file-changed"] * files]
    made = (
        change(name, Level.ROUTINE, system, f"the file {number}", where=f"{VOLUME} \\EFI\\{number}")
        for number, name in enumerate(names)
    )
    return tuple(
        elsewhere(replace(one, id=f"{one.change}:{number:04x}", accepted=rule))
        for number, one in enumerate(made)
    )


def message(
    drift: Drift = DRIFT, news: tuple[str, ...] | None = None, identity: str = "5-1f", snapshot: int = 5
) -> Message:
    fresh = tuple(item.id for item in drift.changes) if news is None else news
    return Message(
        id=identity,
        machine="reading-room-3",
        snapshot=snapshot,
        moment="boot",
        time="2026-11-25T07:12:05Z",
        baseline_saved="2026-11-20T14:02:00Z",
        baseline_reason="installed",
        drift=drift,
        news=fresh,
    )


HOSTILE = "\x1b]0;x\x07\x1b[2J\u202egnp\nBcc: all\r\n\ud83d\u200b"


def hostile_drift() -> Drift:
    """The same drift with hostile text wherever text from a machine can stand."""
    label = f'the entry "{HOSTILE}"'
    changes: tuple[Change, ...] = (
        change(
            "entry-missing",
            Level.WEAKENED,
            HOSTILE,
            label,
            {"entry": HOSTILE, "label": HOSTILE},
            None,
            HOSTILE,
        ),
        change("loader-changed", Level.CHANGED, HOSTILE, HOSTILE, {"strange": HOSTILE}, HOSTILE, HOSTILE),
        change("order-changed", Level.CHANGED, None, HOSTILE, [{"entry": HOSTILE}, HOSTILE], [], HOSTILE),
        change(
            "no-such-name", Level.CHANGED, None, HOSTILE, {"volume": HOSTILE, "type": HOSTILE}, None, HOSTILE
        ),
    )
    known = (Evidence(Trace.REALLY_RAN, HOSTILE), Evidence(Trace.PACKAGES, HOSTILE))
    changes = (
        *(replace(one, evidence=known) for one in changes),
        *update(HOSTILE, 1, HOSTILE),
    )
    findings = (Finding(HOSTILE, HOSTILE, Level.CHANGED, HOSTILE, HOSTILE, HOSTILE),)
    gaps = (
        Gap("volume", HOSTILE, Reason.DAMAGED, HOSTILE, HOSTILE),
        Gap("variables", HOSTILE, Reason.DENIED, HOSTILE),
    )
    return Drift(changes, findings, gaps)


def harmful(text: str) -> set[str]:
    """The characters of HOSTILE that came through."""
    return {character for character in text if character in "\x1b\x07\r\u202e\u200b\ud83d"}
