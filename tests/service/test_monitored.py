"""What a reading leaves for monitoring, from the first one to a loss."""

from __future__ import annotations

from pathlib import Path

from bootwatch.places import Places
from bootwatch.service.read import keep_snapshot
from tests.situations.machine import Machine
from tests.situations.play import load, save
from tests.situations.steps import Course

FERNWICK = {
    "\\EFI\\fernwick\\loaderx64.efi": {
        "program": "fernwick-loader 7.1",
        "reads": ["\\loader\\entries", "loader.conf"],
    }
}


def test_from_the_first_reading_to_a_loss(tmp_path: Path) -> None:
    (tmp_path / "sys/firmware/efi").mkdir(parents=True)
    (tmp_path / "run").mkdir()
    places, course = Places.below(tmp_path), Course(Machine.load("usual"))

    keep_snapshot(places, course.step({"moment": "boot", "disk stick": "plugged in"}), tell=False)
    systems = {'system_starts{system="Fernwick Linux"}': "1", 'system_starts{system="Quarry"}': "1"}
    assert written(tmp_path) == systems, "nothing to compare with, and a stick that comes and goes"
    save(places)
    none = {
        f'open_alerts{{level="{level}"}}': "0" for level in ("stranded", "diverted", "weakened", "changed")
    }
    assert written(tmp_path) == {**systems, **none, "next_start_expected": "1"}
    keep_snapshot(places, course.step(load("alarm-loader-gone")["then"][-1]))
    after = written(tmp_path)
    assert after["next_start_expected"] == "0" and after['open_alerts{level="diverted"}'] == "1"
    assert systems.items() <= after.items(), "Fernwick Linux has its default file left"


def test_what_was_told_and_cannot_be_read_now_stays_open(tmp_path: Path) -> None:
    for folder in ("sys/firmware/efi", "run"):
        (tmp_path / folder).mkdir(parents=True)
    places, course = Places.below(tmp_path), Course(Machine.load("usual"))
    keep_snapshot(places, course.step({"moment": "boot"}), tell=False)
    save(places)
    keep_snapshot(places, course.step(load("alarm-loader-gone")["then"][-1]))
    told = written(tmp_path)
    hidden = {"moment": "boot", "gaps": [{"volume": "fernwick-esp", "why": "unreadable"}]}
    reading = keep_snapshot(places, course.step(hidden))
    assert reading.drift and not [one for one in reading.drift.changes if one.change == "loader-missing"]
    grave = [f'open_alerts{{level="{level}"}}' for level in ("stranded", "diverted", "weakened")]
    assert [written(tmp_path)[one] for one in grave] == [told[one] for one in grave] == ["0", "1", "1"]
    keep_snapshot(places, course.step({"moment": "boot", "files on fernwick-esp": FERNWICK}))
    assert [written(tmp_path)[one] for one in grave] == ["0", "0", "0"]


def written(root: Path) -> dict[str, str]:
    """What the file says of starting, the names without what is common to all."""
    lines = (root / "run/bootwatch/metrics.prom").read_text().splitlines()
    samples = dict(
        line.removeprefix("bootwatch_").rsplit(" ", 1) for line in lines if not line.startswith("#")
    )
    return {name: value for name, value in samples.items() if name.startswith(("system", "next", "open"))}
