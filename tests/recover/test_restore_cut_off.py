"""A restore killed at every single write: what started still starts, and once more makes it whole."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from bootwatch.cli.main import main
from tests.cli.commands import Commands
from tests.recover.cut_off import Mounted, cut_off, mount_first, spots
from tests.roots import DEFAULT_LOADER, FERNWICK_LOADER, QUARRY_LOADER, Root, program
from tests.strace import Spot

Whole = tuple[dict[str, bytes], dict[str, bytes]]
Kill = Callable[["Story", Commands, Spot], None]


@dataclass(frozen=True)
class Story:
    """The usual machine, good and damaged: a loader's folder gone, a default file emptied, an entry gone."""

    damaged: Root
    good: Whole
    bad: Whole


@pytest.fixture(scope="module")
def story(dual_template: Root, tmp_path_factory: pytest.TempPathFactory) -> Story:
    folder = tmp_path_factory.mktemp("cut") / "machine"
    shutil.copytree(dual_template.folder, folder, symlinks=True)
    mounted = mount_first(dual_template.at(folder))
    mounted.file("\\EFI\\fernwick\\settings.conf").unlink()
    main(["--root", str(folder), "baseline", "save", "--reason", "all start", "--yes"])
    good = mounted.whole
    shutil.rmtree(mounted.file(FERNWICK_LOADER).parent)
    mounted.file(DEFAULT_LOADER).write_bytes(b"")
    mounted.root.variable_file("Boot0001").unlink()
    mounted.root.order(0, 2)
    return Story(mounted.root, good, mounted.whole)


@pytest.fixture
def machine(story: Story, copy_root: Callable[[Root], Root], capsys: pytest.CaptureFixture[str]) -> Commands:
    return Commands(copy_root(story.damaged), capsys)


def starting(machine: Commands) -> set[str]:
    return {one["name"] for one in machine("routes", "--json").document["systems"] if one["starts"]}


def require_nothing_torn(story: Story, found: Whole) -> None:
    """Each file and variable is the old or the new one, whole, and there is no other one."""
    for now, bad, good in zip(found, story.bad, story.good, strict=True):
        for name, content in now.items():
            if not name.endswith("/bootwatch.new"):
                assert content in (bad.get(name), good.get(name)), name
        assert bad.keys() & good.keys() <= now.keys()


def kill_and_go_on(story: Story, machine: Commands, spot: Spot) -> None:
    mounted = Mounted(machine.root)
    assert cut_off(machine.root, spot, "--write", "--yes")
    require_nothing_torn(story, mounted.whole)
    assert starting(machine) >= {"Tarn Rescue"}
    assert machine("restore", "--write", "--yes").status == 0
    assert mounted.whole == story.good
    assert machine("drift").status == 0
    assert machine("restore", "--undo", "--yes").status == 0  # of both
    assert mounted.whole == story.bad


def kill_and_take_back(story: Story, machine: Commands, spot: Spot) -> None:
    mounted = Mounted(machine.root)
    assert cut_off(machine.root, spot, "--write", "--yes")
    undone = machine("restore", "--undo", "--yes").status
    assert mounted.whole == story.bad
    assert undone == 0 or "no restore" in machine("restore", "--undo", "--yes").err


def kill_the_taking_back(story: Story, machine: Commands, spot: Spot) -> None:
    mounted = Mounted(machine.root)
    assert machine("restore", "--write", "--yes").status == 0
    assert mounted.whole == story.good
    assert cut_off(machine.root, spot, "--undo", "--yes")
    require_nothing_torn(story, mounted.whole)
    assert starting(machine) >= {"Tarn Rescue"}
    machine("restore", "--undo", "--yes")
    assert mounted.whole == story.bad


SAMPLE = [
    (kill_and_go_on, ("rename", 4)),  # before the first file takes its place
    (kill_and_go_on, ("write", 10)),  # an entry's file is made, and nothing written
    (kill_and_take_back, ("write", 12)),  # all but the order
    (kill_the_taking_back, ("unlink", 1)),
]


@pytest.mark.long
@pytest.mark.parametrize(("kill", "spot"), SAMPLE)
def test_killed_at_a_write(story: Story, machine: Commands, kill: Kill, spot: Spot) -> None:
    kill(story, machine, spot)


@pytest.mark.whole
@pytest.mark.parametrize("kill", [kill_and_go_on, kill_and_take_back, kill_the_taking_back])
def test_killed_at_every_write(
    story: Story,
    copy_root: Callable[[Root], Root],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    kill: Kill,
) -> None:
    machine = Commands(copy_root(story.damaged), capsys)
    everywhere = spots(machine.root, "--write", "--yes")
    if kill is kill_the_taking_back:
        everywhere = spots(machine.root, "--undo", "--yes")
    assert len(everywhere) > 20
    for spot in everywhere:
        shutil.rmtree(tmp_path / "machine")
        kill(story, Commands(copy_root(story.damaged), capsys), spot)


# disk images, which mtools writes


def kill_tool(folder: Path, tool: str, when: int) -> str:
    """A PATH on which ``tool`` is killed at its ``when``-th write."""
    folder.mkdir()
    script = folder / tool
    fault = f"-e trace=write -e inject=write:signal=KILL:when={when}"
    script.write_text(f'#!/bin/sh\nexec strace -qq -o /dev/null {fault} {shutil.which(tool)} "$@"\n')
    script.chmod(0o755)
    return f"{folder}:{os.environ['PATH']}"


def on_quarry(root: Root, *command: str) -> subprocess.CompletedProcess[bytes]:
    tool, *rest = command
    return subprocess.run([tool, "-i", f"{root.image('vdb')}@@1M", *rest], capture_output=True, check=False)


def mend(root: Root, copy: Path) -> None:
    with root.image("vdb").open("r+b") as disk:
        disk.seek(1 << 20)
        copy.write_bytes(disk.read(4 << 20))
        assert subprocess.run(["fsck.fat", "-a", copy], capture_output=True, check=False).returncode == 1
        disk.seek(1 << 20)
        disk.write(copy.read_bytes())


@pytest.mark.whole
@pytest.mark.parametrize(
    ("tool", "when"),
    [
        ("mcopy", 1),
        ("mcopy", 2),
        ("mcopy", 3),
        ("mcopy", 4),
        ("mdel", 1),
        ("mren", 1),
        ("mmd", 1),
        ("mmd", 2),
    ],
)
def test_tool_killed_at_a_write(
    dual_template: Root,
    copy_root: Callable[[Root], Root],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    tool: str,
    when: int,
) -> None:
    """An image may be damaged then, but what is damaged is nothing that anybody starts."""
    machine = Commands(copy_root(dual_template), capsys)
    content = program("quarry 1").ljust(9000, b"\1")  # of several clusters
    machine.root.put("vdb", 1, QUARRY_LOADER, content)
    machine.save()
    machine.root.put("vdb", 1, QUARRY_LOADER, b"")
    if tool == "mmd":
        on_quarry(machine.root, "mdeltree", "::/EFI")
    with monkeypatch.context() as patched:
        patched.setenv("PATH", kill_tool(tmp_path / "tools", tool, when))
        said = machine("restore", "--write", "--yes")
    assert said.status == 1 and "Stopped at this step" in said.err
    assert starting(machine) >= {"Fernwick Linux", "Tarn Rescue"}
    again = machine("restore", "--write", "--yes")
    if "fsck.fat" in again.err:  # mtools would make it worse
        mend(machine.root, tmp_path / "volume")
        again = machine("restore", "--write", "--yes")
    assert again.status == 0
    assert starting(machine) >= {"Fernwick Linux", "Tarn Rescue", "Quarry"}
    loader = on_quarry(machine.root, "mtype", "::" + QUARRY_LOADER.replace("\\", "/"))
    assert loader.stdout == content
    assert b"bootwatch.new" not in on_quarry(machine.root, "mdir", "-b", "-/", "::").stdout
