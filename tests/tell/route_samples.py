"""Routes documents as `bootwatch routes` gives them, made by hand, for the tests of every outlet."""

from __future__ import annotations

from typing import Any

ESP = "1f3b7c58-2f0e-4a51-9a55-0f6a7d1c2e01"
OTHER = "6d0a41be-8c93-4d2f-b1c7-3e5f90a8d402"
LOADER = "\\EFI\\fernwick\\loaderx64.efi"
QUARRY = "\\EFI\\quarry\\startx64.efi"
DEFAULT = "\\EFI\\BOOT\\BOOTX64.EFI"
WHOLE = "the program is there and whole"
Document = dict[str, Any]


def place(file: str | None, partition: str | None) -> Document:
    return {"partition": partition, "volume": partition and f"gpt:{partition}", "file": file}


def route(
    entry: str | None,
    label: str,
    file: str | None,
    partition: str | None = ESP,
    *,
    system: str | None = "Fernwick Linux",
    starts: bool | None = True,
    why: str = "what it starts in turn is not known",
    **other: Any,
) -> Document:
    usual = {
        "by": "BootOrder" if entry else "fallback",
        "entry": entry,
        "label": label,
        "system": system,
        "starts": starts,
        "why": why,
        "unattended": True,
        "followed_to": "loader",
        "through": None,
        "mark": None,
        "proven": None,
    }
    return {**usual, **place(file, partition), **other}


def system(name: str, *routes: Document, how: str = "by itself", **other: Any) -> Document:
    starts = {"by itself": True, "on request": True, "not at all": False, "not known": None}[how]
    usual: Document = {
        "name": name,
        "also": [],
        "starts": starts,
        "how": how,
        "removable": False,
        "why": "",
        "more": 0,
    }
    return {**usual, "routes": list(routes), **other}


def step(
    entry: str | None,
    label: str,
    file: str | None,
    partition: str | None = ESP,
    *,
    outcome: str = "starts",
    why: str = WHOLE,
    **other: Any,
) -> Document:
    usual = {"by": "BootOrder" if entry else "fallback", "entry": entry, "label": label}
    return {
        **usual, **place(file, partition), "outcome": outcome, "why": why, "system": None, "choices": [],
        **other,
    }  # fmt: skip


def following(from_step: Document, system: str | None, **other: Any) -> Document:
    """What starts next, as the step says that it does."""
    kept = {key: value for key, value in from_step.items() if key != "choices"}
    return {**kept, "system": system, "certain": True, "candidates": [], **other}


def document(next_start: Document, *trail: Document, systems: tuple[Document, ...], **other: Any) -> Document:
    routes = [one for each in systems for one in each["routes"] if not one["through"]]
    usual = {
        "format": "bootwatch/routes/1",
        "next_start": next_start,
        "trail": list(trail),
        "routes": routes,
        "systems": list(systems),
        "volumes": [
            {"volume": f"gpt:{ESP}", "label": "FERNWICK", "disk": "NVMe disk A", "removable": False},
            {"volume": f"gpt:{OTHER}", "label": "", "disk": "SATA disk B", "removable": False},
        ],
        "running": None,
        "cautions": [],
        "gaps": [],
        "more": {"trail": 0, "routes": 0, "systems": 0, "gaps": 0},
        "machine": "study",
        "snapshot": 41,
        "time": "2026-11-25T07:12:05Z",
        "record": {"right": 0, "judged": 0, "unknown": 0, "misses": []},
        "habits": [],
    }
    return {**usual, **other}


RUNNING = {
    "system": "Fernwick Linux",
    "entry": "Boot0000",
    "label": "Fernwick Linux",
    "volume": None,
    "file": None,
    "by": ["BootCurrent"],
    "doubt": "",
}
MISS = {
    "snapshot": 17,
    "time": "2026-10-02T06:00:00Z",
    "predicted": 16,
    "why": "Predicted was Boot0000, but Boot0001 started.",
}
HABIT = {
    "habit": "own-choice-first",
    "count": 3,
    "starts": 42,
    "proven": 3,
    "last": "2026-10-02T06:00:00Z",
    "snapshot": 17,
    "what": "Boot0001 (Quarry) in front of Boot0000 (Fernwick Linux)",
    "sentence": "The firmware or another system put an entry of its own choice in front of the boot order "
    "3 times in 42 starts.",
}


def two_systems() -> Document:
    """An entry that fails first; then one of two systems starts, to its kernel; the other one by request."""
    dead = step(
        "Boot0007", "Old disk", "\\EFI\\old\\x.efi", None, outcome="passed", why="no disk has its partition"
    )
    first = step("Boot0000", "Fernwick Linux", LOADER)
    proven = {"date": "2026-11-20T06:00:00Z", "snapshot": 38}
    by_entry = route(
        "Boot0000", "Fernwick Linux", LOADER, why="its kernel is there", followed_to="kernel", proven=proven
    )
    by_default = route(None, "", DEFAULT, proven=proven)
    asked: Document = {"system": "Quarry", "unattended": False}
    chosen = route("Boot0001", "Quarry", QUARRY, OTHER, by="choice", **asked)
    menu = route("Boot0000", "", QUARRY, OTHER, by="menu", through="Fernwick Linux", **asked)
    lost = route(
        "Boot0007", "Old disk", "\\EFI\\old\\x.efi", None, system=None, starts=False, why=dead["why"]
    )
    found = document(
        following(first, "Fernwick Linux"),
        dead,
        first,
        systems=(
            system("Fernwick Linux", by_entry, by_default, also=["fernwick"]),
            system("Quarry", chosen, menu, how="on request"),
        ),
        running=RUNNING,
        cautions=["Secure Boot is on; whether it allows a loader is not looked at yet."],
        record={"right": 41, "judged": 42, "unknown": 1, "misses": [MISS]},
        habits=[HABIT],
    )
    return {**found, "routes": [*found["routes"], lost]}


def unread() -> Document:
    """The disk of one system could not be read."""
    why = "a disk could not be read: its partition may lie there"
    first = step("Boot0001", "Quarry", None, OTHER, outcome="unknown", why=why)
    second = step("Boot0000", "Fernwick Linux", LOADER)
    gap = {"scope": {"disk": "sdb"}, "reason": "unreadable", "detail": "I/O error"}
    way = route("Boot0001", "Quarry", None, OTHER, system="Quarry", starts=None, why=why)
    found = following(first, None, certain=False)
    found["candidates"] = [following(first, None), following(second, "Fernwick Linux")]
    return document(
        found,
        first,
        second,
        systems=(
            system("Fernwick Linux", route("Boot0000", "Fernwick Linux", LOADER)),
            system("Quarry", way, how="not known", why=why),
        ),
        gaps=[gap],
    )


def clones() -> Document:
    """Two disks with the same identifiers: the firmware takes either."""
    first, second = f"gpt:{ESP}@sda", f"gpt:{ESP}@sdb"
    landing = {**place(LOADER, ESP), "starts": True, "why": WHOLE}
    choices = [{**landing, "volume": first}, {**landing, "volume": second}]
    one = step("Boot0000", "Fernwick Linux", LOADER, volume=first, choices=choices)
    candidates = [following(one, name, volume=volume) for name, volume in
                  (("Fernwick Linux", first), ("Fernwick copy", second))]  # fmt: skip
    way = route("Boot0000", "Fernwick Linux", LOADER)
    return document(
        following(one, "Fernwick Linux", certain=False, candidates=candidates),
        one,
        systems=(system("Fernwick Linux", way), system("Fernwick copy", {**way, "system": "Fernwick copy"})),
    )


def nothing() -> Document:
    """Nothing is left that would start."""
    dead = step("Boot0000", "Fernwick Linux", LOADER, outcome="passed", why="the file is empty")
    why = "nothing that the firmware tries would start"
    none = {"by": "nothing", "entry": None, "label": "", **place(None, None), "why": why, "outcome": "passed"}
    way = route("Boot0000", "Fernwick Linux", LOADER, starts=False, why="the file is empty")
    return document(
        following(none, None),
        dead,
        systems=(system("Fernwick Linux", way, how="not at all", why="the file is empty"),),
    )
