"""What partitions hold, on disks whose file systems were made by their own tools."""

from __future__ import annotations

from bootwatch.judge.drift import compare
from bootwatch.model.disk import Content, Disk, Partition
from bootwatch.model.snapshot import Snapshot, State
from tests.formats.tools import blank, run
from tests.judge.looks import look
from tests.observe.faults import count_calls, look_with_fault
from tests.roots import DATA_PART, FERNWICK_ESP, Root

ROOT_UUID = "3d1c9a52-77aa-4e0b-8f11-5b6c7d8e9f00"
ROOT_AT = 5 << 20  # where the usual machine's second partition begins


def with_root(root: Root) -> Root:
    """Fernwick's second partition gets an ext4 file system."""
    image = blank(root.folder.parent / "ext4", 4 << 20)
    run("mkfs.ext4", "-q", "-U", ROOT_UUID, "-L", "fernwick", image)
    with root.image("vda").open("r+b") as disk:
        disk.seek(ROOT_AT)
        disk.write(image.read_bytes())
    return root


def content(snapshot: Snapshot, guid: str) -> Content | None:
    parts = {part.identifier: part for disk in snapshot.state.disks.values() for part in disk.partitions}
    return parts[f"gpt:{guid}"].content


def test_contents_of_partitions(hall: Root) -> None:
    shown = run("mdir", "-i", f"{hall.image('vda')}@@1M", "::/")
    serial = next(line.split()[-1] for line in shown.splitlines() if "Serial Number" in line)
    found = look(with_root(hall))
    assert content(found, FERNWICK_ESP) == Content("vfat", serial, "FERNWICK")
    assert content(found, DATA_PART) == Content("ext4", ROOT_UUID, "fernwick")


def test_an_empty_partition(hall: Root) -> None:
    assert content(look(hall), DATA_PART) == Content("empty")


def test_a_disk_without_a_table(hall: Root) -> None:
    image = blank(hall.image("vdc"), 4 << 20)
    run("mkfs.ext4", "-q", "-U", ROOT_UUID, image)
    hall.list_disk("vdc", 4 << 20, [], 6, removable=True)
    disks = look(hall).state.disks.values()
    assert [disk.content for disk in disks if disk.table == "none"] == [Content("ext4", ROOT_UUID)]


def test_what_cannot_be_read_is_not_taken_for_empty(hall: Root) -> None:
    with_root(hall)
    disk = hall.image("vda")
    last = count_calls(hall.folder, disk, "read")
    found = look_with_fault(hall.folder, disk, f"read:error=EIO:when={last}")
    assert content(found, DATA_PART) == Content("unreadable")


def test_comes_back_from_its_parts(hall: Root) -> None:
    state = look(with_root(hall)).state
    assert State.from_parts(state.parts()) == state


def test_an_older_snapshot_and_an_unchanged_machine_are_the_same(hall: Root) -> None:
    now = look(with_root(hall))
    parts = now.state.parts()
    for table in parts["tables"].values():
        for part in table["partitions"]:
            del part["content"]
    older = State.from_parts(parts)
    assert all(part.content is None for disk in older.disks.values() for part in disk.partitions)
    assert compare(older, (), now).drift.changes == ()


def test_unknown_fields_of_a_later_version_are_left_out() -> None:
    part = Partition(1, "gpt:x", "y", 1, 2, content=Content("ext4", "u", "l"))
    document = part.to_json()
    document["content"]["later"] = 1
    assert Partition.from_json(document) == part
    disk = Disk("k", "none", "a", 1, 512, False, "", {}, (), content=Content("unreadable"))
    assert Disk.from_json(disk.to_json()) == disk
