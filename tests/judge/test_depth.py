"""How far routes are followed: the UAPI specifications, settings in text, and what is not known."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import replace

import pytest

from bootwatch.judge.depth import Depth, Reach, follow
from bootwatch.model.disk import Content
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.snapshot import State
from bootwatch.model.volume import ENTRIES_FOLDER, File
from tests.judge import states
from tests.judge.dual import ATTIC, HALL
from tests.judge.states import FERNWICK, FERNWICK_PART, QUARRY, VIRTIO, disk, program, state
from tests.pace import Stopwatch

HERE = f"gpt:{FERNWICK_PART}"
UUID = "0b9c1d1e-5f7a-4c1b-8e55-7d3f2a6b9c10"
MENU = "\\EFI\\fernwick\\menu.cfg"
CONF = "\\loader\\entries\\fernwick.conf"


def machine(files: Mapping[str, File | str], loader: File | None = None) -> State:
    """Fernwick Linux's volume with these files, texts given as such; and Quarry's volume beside it."""
    texts = {digest(text): text.encode() for text in files.values() if isinstance(text, str)}
    own = {path: of_text(one) if isinstance(one, str) else one for path, one in files.items()}
    held = state(
        ((HALL, 1, {FERNWICK: loader or reads_entries(), **own}), (ATTIC, 1, {QUARRY: program("quarry")}))
    )
    return replace(held, texts=texts)


def reads_entries() -> File:
    """A loader in whose text the folder of entries stands."""
    found = program("fernwick")
    return replace(found, program=replace(found.program, mentions=(ENTRIES_FOLDER,)))  # type: ignore[type-var]


def digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def of_text(text: str) -> File:
    return File("", len(text), "", digest(text))


def followed(held: State, gaps: tuple[Gap, ...] = ()) -> Depth:
    return follow(held, gaps, HERE, FERNWICK)


def entry(**more: str) -> str:
    lines = {"title": "Fernwick Linux", "linux": "/fernwick/linux", **more}
    return "".join(f"{name} {value}\n" for name, value in lines.items())


KERNEL = {"\\fernwick\\linux": program("linux")}


def test_an_entry_with_its_kernel_and_initrd() -> None:
    depth = followed(
        machine({CONF: entry(initrd="/fernwick/initrd"), **KERNEL, "\\fernwick\\initrd": states.text()})
    )
    assert (depth.followed_to, depth.starts) == (Reach.KERNEL, True)
    assert {path for _, path in depth.uses} >= {"\\FERNWICK\\LINUX", "\\FERNWICK\\INITRD", CONF.upper()}


@pytest.mark.parametrize(
    "files",
    [
        {CONF: entry()},
        {CONF: entry(), "\\fernwick\\linux": states.text(size=0)},
        {CONF: entry(), "\\fernwick\\linux": program("linux", declared=9000)},
        {CONF: entry(initrd="/fernwick/initrd"), **KERNEL},
        {CONF: entry(initrd="/fernwick/initrd"), **KERNEL, "\\fernwick\\initrd": states.text(size=0)},
    ],
    ids=["no kernel", "empty kernel", "kernel cut short", "no initrd", "empty initrd"],
)
def test_what_an_entry_needs(files: dict[str, File | str]) -> None:
    depth = followed(machine(files))
    assert depth.starts is False
    assert "fernwick" in depth.why


def test_one_good_entry_is_enough() -> None:
    other = "\\loader\\entries\\older.conf"
    depth = followed(
        machine({CONF: entry(), other: entry(linux="/old/linux"), "\\old\\linux": program("old")})
    )
    assert depth.starts is True


@pytest.mark.parametrize(("declared", "starts"), [(1000, True), (4000, False)])
def test_a_unified_kernel_image_is_whole_or_it_is_not(declared: int, starts: bool) -> None:
    found = program("unified", declared=declared)
    assert found.program
    image = replace(found, program=replace(found.program, sections=(".linux", ".initrd", ".osrel")))
    depth = followed(machine({}, image))
    assert (depth.followed_to, depth.starts) == (Reach.KERNEL, starts)


def test_a_file_system_that_is_not_there() -> None:
    text = f'menuentry "Fernwick Linux" {{\n search --fs-uuid --set=root {UUID}\n linux /boot/linux\n}}\n'
    held = with_contents(machine({MENU: text}, program("fernwick")), "ext4", UUID)
    assert followed(held).starts is True
    assert followed(with_contents(held, "ext4", UUID.replace("0b9c", "ffff"))).starts is False


@pytest.mark.parametrize("kind", ["crypto_LUKS", "crypto_FVE", None])
def test_a_file_system_that_may_be_hidden_is_not_called_missing(kind: str | None) -> None:
    """It may lie within an encrypted partition, or what partitions hold was not recorded."""
    text = f'menuentry "Fernwick Linux" {{\n search --fs-uuid --set=root {UUID}\n linux /boot/linux\n}}\n'
    assert followed(with_contents(machine({MENU: text}, program("fernwick")), kind, "")).starts is not False


def with_contents(held: State, kind: str | None, uuid: str) -> State:
    """The machine with one more disk, whose partition holds that."""
    more = disk("more", "2b3c4d5e-6f70-4a81-92a3-b4c5d6e7f807", address=VIRTIO.format(8, 8))
    part = replace(more.partitions[0], type="0fc63daf-8483-4772-8e79-3d69d8477de4")
    if kind:
        part = replace(part, content=Content(kind, uuid))
    known = {
        key: replace(
            one,
            partitions=tuple(replace(p, content=Content("vfat", "ABCD-0001")) for p in one.partitions),
        )
        for key, one in held.disks.items()
    }
    return replace(held, disks={**known, more.key: replace(more, partitions=(part,))})


def test_a_kernel_in_a_gap_is_not_missing() -> None:
    gap = Gap("volume", HERE, Reason.UNREADABLE, "input/output error", "\\fernwick")
    assert followed(machine({CONF: entry()}), (gap,)).starts is None


def test_settings_that_lead_round_in_a_circle() -> None:
    one, other = "configfile /EFI/fernwick/other.cfg\n", "configfile /EFI/fernwick/menu.cfg\n"
    depth = followed(machine({MENU: one, "\\EFI\\fernwick\\other.cfg": other}, program("fernwick")))
    assert depth.starts is not False


@pytest.mark.long
@pytest.mark.parametrize("count", [20_000])
def test_thousands_of_entries_and_files_take_no_longer_than_two_seconds(count: int) -> None:
    files: dict[str, File | str] = {
        f"\\loader\\entries\\e{number}.conf": entry(linux=f"/k{number}") for number in range(count // 4)
    }
    files |= {
        f"\\EFI\\fernwick\\f{number}.cfg": f"linux /k{number}\nconfigfile /EFI/fernwick/f{number + 1}.cfg\n"
        for number in range(count)
    }
    held = machine(files)
    watch = Stopwatch()
    followed(held)
    assert watch.seconds() < 2
