"""Metrics and alerting rules, held against Prometheus itself and node exporters that it scrapes."""

from __future__ import annotations

import contextlib
import json
import queue
import re
import subprocess
import threading
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import IO, Any

import pytest
import yaml

from bootwatch.model.level import Level
from bootwatch.model.snapshot import Snapshot
from bootwatch.places import Places
from bootwatch.service.read import keep_snapshot
from bootwatch.tell.metrics import Figures, text
from tests.situations.machine import Machine
from tests.situations.play import load, save
from tests.situations.steps import Course

HERE = Path(__file__).parent
RULES = HERE.parents[1] / "packaging/prometheus/bootwatch.rules.yml"
HOSTILE = ['"', "\\", "a\nb", "\x1b[2J", '"} 1\nup{a="', "\u202e", "x" * 9000, ""]
DEADLINE = 60

pytestmark = pytest.mark.long


def promtool(*arguments: str, given: str | None = None) -> None:
    result = subprocess.run(
        ["promtool", *arguments], input=given, text=True, capture_output=True, timeout=DEADLINE
    )
    assert (result.returncode, result.stderr) == (0, ""), result.stdout + result.stderr


def test_metrics() -> None:
    levels = dict.fromkeys(Level, 1)
    known = Figures("2026-11-25T07:12:05Z", [(name, True) for name in HOSTILE], True, levels, 0)
    for figures in (known, replace(known, starts=(), next_expected=None, open_levels=None)):
        promtool("check", "metrics", given=text(figures))


def test_rules() -> None:
    promtool("check", "rules", str(RULES))
    promtool("test", "rules", str(HERE / "rules.yml"))


def test_a_stranded_and_a_silent_machine_fire_one_alert_each(tmp_path: Path) -> None:
    now = datetime.now(UTC)
    lost = load("pair-two-losses-strand-together")["then"][-1]
    folders = {
        "attic": looked_at(tmp_path / "attic", now, lost),
        "study": looked_at(tmp_path / "study", now - timedelta(days=8)),
    }
    with contextlib.ExitStack() as stack:
        alerts = stack.enter_context(alert_manager())
        targets = {name: stack.enter_context(exporter(folder)) for name, folder in folders.items()}
        stack.enter_context(prometheus(tmp_path, targets, alerts.address))
        fired = alerts.until({("BootwatchStranded", "attic"), ("BootwatchSilent", "study")})
    assert not fired & {("BootwatchStranded", "study"), ("BootwatchSilent", "attic")}
    assert alerts.summaries["BootwatchStranded"] == "attic: Quarry would not start any more"
    assert alerts.summaries["BootwatchSilent"].startswith("study: nothing was heard for 8d ")


def looked_at(folder: Path, last: datetime, *steps: dict[str, Any]) -> Path:
    """A machine with a baseline, and what happened to it since: the collector's folder, as installed."""
    for name in ("sys/firmware/efi", "run", "collector"):
        (folder / name).mkdir(parents=True)
    places, course = Places.below(folder), Course(Machine.load("usual"))
    keep_snapshot(places, at(last, course.step({"moment": "asked"})), tell=False)
    save(places)
    for step in steps:
        keep_snapshot(places, at(last, course.step(step)))
    (folder / "collector/bootwatch.prom").symlink_to(folder / "run/bootwatch/metrics.prom")
    return folder / "collector"


def at(time: datetime, snapshot: Snapshot) -> Snapshot:
    """The same snapshot, taken then."""
    said = time.strftime("%Y-%m-%dT%H:%M:%SZ")
    return replace(snapshot, circumstance=replace(snapshot.circumstance, time=said))


class Alerts:
    """What arrives at an alert manager's address."""

    def __init__(self, address: str, arrived: queue.Queue[dict[str, Any]]) -> None:
        self.address, self._arrived = address, arrived
        self.summaries: dict[str, str] = {}

    def until(self, wanted: set[tuple[str, str]]) -> set[tuple[str, str]]:
        """Name and machine of all that fired, once those that are wanted have."""
        fired: set[tuple[str, str]] = set()
        while not wanted <= fired:
            alert = self._arrived.get(timeout=DEADLINE)
            name = alert["labels"]["alertname"]
            fired.add((name, alert["labels"]["instance"]))
            self.summaries[name] = alert["annotations"]["summary"]
        return fired


@contextlib.contextmanager
def alert_manager() -> Iterator[Alerts]:
    arrived: queue.Queue[dict[str, Any]] = queue.Queue()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            for alert in json.loads(self.rfile.read(int(self.headers["Content-Length"]))):
                arrived.put(alert)
            self.send_response(200)
            self.end_headers()

        def log_message(self, *_: Any) -> None:
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        try:
            yield Alerts(f"127.0.0.1:{server.server_port}", arrived)
        finally:
            server.shutdown()
            thread.join()


@contextlib.contextmanager
def exporter(folder: Path) -> Iterator[str]:
    """A node exporter with nothing but that folder's metrics; its address."""
    command = [
        "prometheus-node-exporter",
        "--web.listen-address=127.0.0.1:0",
        "--collector.disable-defaults",
        "--collector.textfile",
        f"--collector.textfile.directory={folder}",
    ]
    with running(command, subprocess.PIPE) as process:
        assert process.stderr
        said = iter(process.stderr.readline, "")
        address = next(
            (found[1] for line in said if (found := re.search(r"Listening on\S* address=(\S+)", line))), None
        )
        assert address, "the node exporter ended before it listened"
        yield address


@contextlib.contextmanager
def prometheus(folder: Path, targets: dict[str, str], alerts: str) -> Iterator[None]:
    """A Prometheus with the rules as they are shipped, that scrapes each second."""
    settings = {
        "global": {"scrape_interval": "1s", "evaluation_interval": "1s"},
        "rule_files": [str(RULES)],
        "alerting": {"alertmanagers": [{"static_configs": [{"targets": [alerts]}]}]},
        "scrape_configs": [
            {
                "job_name": "node",
                "static_configs": [
                    {"targets": [address], "labels": {"instance": name}} for name, address in targets.items()
                ],
            }
        ],
    }
    (folder / "prometheus.yml").write_text(yaml.safe_dump(settings))
    command = [
        "prometheus",
        f"--config.file={folder / 'prometheus.yml'}",
        f"--storage.tsdb.path={folder / 'series'}",
        "--web.listen-address=127.0.0.1:0",
    ]
    with (folder / "prometheus.log").open("w") as log, running(command, log):
        yield


@contextlib.contextmanager
def running(command: list[str], stderr: int | IO[str]) -> Iterator[subprocess.Popen[str]]:
    with subprocess.Popen(command, stderr=stderr, text=True) as process:
        try:
            yield process
        finally:
            process.terminate()
            process.communicate(timeout=DEADLINE)
