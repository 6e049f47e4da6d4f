"""What is too much on a volume to be looked at is a limit, never damage and never absent."""

import pytest

from bootwatch.formats.fat import Volume
from bootwatch.model.gap import Reason
from bootwatch.observe.files import Listing, read_walk
from tests.formats.fat_hostile import Reader, folders_that_fan_out
from tests.formats.fat_maker import Maker, slot


def listing_of(maker: Maker) -> tuple[Listing, Reader]:
    reader = Reader(maker)
    listing = Listing("fat:0BAD-CAFE")
    read_walk(listing, Volume(reader))
    return listing, reader


@pytest.mark.long
def test_folders_that_are_not_looked_at() -> None:
    listing, _ = listing_of(folders_that_fan_out())
    assert {gap.reason for gap in listing.gaps} == {Reason.LIMIT}
    assert {gap.path for gap in listing.gaps} <= set(listing.files)


def test_files_that_are_one_and_the_same_are_not_read_without_end() -> None:
    maker = Maker(16, 5000)
    content = bytes(1000 * maker.cluster)
    cluster = maker.store(content)
    maker.put_root(b"".join(slot(b"SAME%d" % number, 0x20, cluster, len(content)) for number in range(400)))
    listing, reader = listing_of(maker)
    assert reader.bytes < 2 * maker.size
    unread = {gap.path: gap.reason for gap in listing.gaps}
    assert set(unread.values()) == {Reason.LIMIT}
    assert len(listing.files) == 400
    assert {path for path, file in listing.files.items() if file.sha256 is None} == set(unread)
    assert len(unread) == 395


def test_one_file_of_an_absurd_size_hides_no_other() -> None:
    maker = Maker(16, 5000)
    maker.put_root(slot(b"ABSURD", 0x20, 2, 0xFFFFFFFF) + slot(b"SOUND", 0x20, maker.store(b"x"), 1))
    listing, _ = listing_of(maker)
    assert [(gap.path, gap.reason) for gap in listing.gaps] == [("\\ABSURD", Reason.LIMIT)]
    assert listing.files["\\SOUND"].sha256


def test_a_full_volume_is_read_whole() -> None:
    maker = Maker(12, 200)
    slots = [slot(b"FILE%d" % number, 0x20, maker.store(bytes(50 * 512)), 50 * 512) for number in range(4)]
    maker.put_root(b"".join(slots))
    listing, _ = listing_of(maker)
    assert listing.gaps == []
    assert all(file.sha256 for file in listing.files.values())
