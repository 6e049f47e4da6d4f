"""What Secure Boot lets run: our verdict on many programs against the firmware that really ran them."""

from __future__ import annotations

import itertools
import struct
from collections.abc import Iterator
from pathlib import Path

import pefile
import pytest
from virt.peutils.pesign import pe_authenticode_hash

from bootwatch.formats.pe import Image
from bootwatch.judge.trust import Verdict
from tests.firmware.programs import program
from tests.firmware.secure import LAST, judged, leaver, ran
from tests.firmware.signing import PAST, Owner, certificates, digests, revoked, signed

pytestmark = pytest.mark.firmware

MAKER = Owner("Maker")
MIDDLE = Owner("Middle", MAKER)
LEAF, OWN = Owner("Leaf", MIDDLE, False), Owner("Own", MAKER, False)
OLD = Owner("Old maker", dates=PAST)
OLD_LEAF = Owner("Old leaf", OLD, False, PAST)
BAD = Owner("Revoked maker")
BAD_LEAF = Owner("Leaf of a revoked maker", BAD, False)
ALONE, STRANGER = Owner("Alone", None, False), Owner("Stranger")
REVOKED = Owner("Revoked by its digest", MAKER, False)
REVOKED_MIDDLE = Owner("Middle revoked by its digest", MAKER)
BELOW = Owner("Below it", REVOKED_MIDDLE, False)
CLAIMANT = Owner("No authority", MAKER, False)
UNDER_CLAIMANT = Owner("Under no authority", CLAIMANT, False)


def programs() -> Iterator[bytes]:
    """The same program again and again, each with another end."""
    base = leaver()
    return (base + number.to_bytes(8, "little") for number in itertools.count(1))


def digest(data: bytes) -> bytes:
    """By virt-firmware, which pads the end: for programs of whole eights only."""
    assert len(data) % 8 == 0
    found = pe_authenticode_hash(pefile.PE(data=data))
    assert isinstance(found, bytes)
    return found


def last() -> dict[str, bytes]:
    return {LAST: signed(program("witness"), MAKER)}


def agree(folder: Path, images: dict[str, bytes], db: bytes, dbx: bytes) -> set[str]:
    """What ran; what ours says is the same of each."""
    found = ran(folder, images, db, dbx)
    said = judged(images, db, dbx)
    verdicts = {name: Verdict.ALLOWED if name in found else Verdict.REFUSED for name in images}
    assert {name: one.verdict for name, one in said.items()} == verdicts
    return found


def test_a_few(tmp_path: Path) -> None:
    """One of each sort."""
    made = programs()
    images = {
        "unsigned": next(made),
        "known": next(made),
        "signed": signed(next(made), LEAF, MIDDLE),
        "revoked": signed(signed(next(made), OWN), BAD_LEAF),
        **last(),
    }
    db, dbx = certificates(MAKER, BAD) + digests(digest(images["known"])), certificates(BAD)
    assert agree(tmp_path, images, db, dbx) == {"known", "signed", LAST}


@pytest.mark.whole
def test_many(tmp_path: Path) -> None:
    made = programs()
    plain = {
        name: next(made)
        for name in (
            "unsigned",
            "in db",
            "in dbx",
            "by a stranger, in db",
            "signed, in dbx",
            "revoked, in db",
        )
    }
    odd = next(made) + b"odd"
    images = {
        **{name: plain[name] for name in ("unsigned", "in db", "in dbx")},
        "no eight, as it is in db": odd,
        "no eight, padded in db": next(made) + b"even",
        "by the maker itself": signed(next(made), MAKER),
        "by a leaf, the maker not with it": signed(next(made), OWN),
        "the middle missing": signed(next(made), LEAF),
        "the middle with it": signed(next(made), LEAF, MIDDLE),
        "the whole chain with it": signed(next(made), LEAF, MIDDLE, MAKER),
        "past its dates": signed(next(made), OLD_LEAF),
        "by a certificate that is in db itself": signed(next(made), ALONE),
        "by a stranger": signed(next(made), STRANGER),
        "by a revoked maker's": signed(next(made), BAD_LEAF),
        "by one, and a revoked maker's": signed(signed(next(made), OWN), BAD_LEAF),
        "by a revoked maker's, and one": signed(signed(next(made), BAD_LEAF), OWN),
        "by a stranger and one": signed(signed(next(made), STRANGER), OWN),
        "by one whose digest is revoked": signed(next(made), REVOKED),
        "under one whose digest is revoked": signed(next(made), BELOW, REVOKED_MIDDLE),
        "under one that is no authority": signed(next(made), UNDER_CLAIMANT, CLAIMANT),
        "by a stranger, in db": signed(plain["by a stranger, in db"], STRANGER),
        "signed, in dbx": signed(plain["signed, in dbx"], OWN),
        "revoked, in db": signed(plain["revoked, in db"], BAD_LEAF),
        "changed since": changed(signed(next(made), OWN)),
        "with more behind its signature": signed(next(made), OWN) + bytes(8),
        "its table too long": longer(signed(next(made), OWN)),
        **last(),
    }
    padded = images["no eight, padded in db"] + bytes(-len(images["no eight, padded in db"]) % 8)
    known = [plain["in db"], plain["in dbx"], plain["by a stranger, in db"], plain["revoked, in db"], padded]
    db = certificates(MAKER, OLD, ALONE, BAD)
    db += digests(*map(digest, known), Image.parse(odd).authenticode_sha256)
    dbx = certificates(BAD) + digests(digest(plain["in dbx"]), digest(plain["signed, in dbx"]))
    dbx += revoked(REVOKED, REVOKED_MIDDLE)
    assert agree(tmp_path, images, db, dbx) == {
        "in db",
        "no eight, as it is in db",
        "by the maker itself",
        "by a leaf, the maker not with it",
        "the middle with it",
        "the whole chain with it",
        "past its dates",
        "by a certificate that is in db itself",
        "by a stranger and one",
        "under one whose digest is revoked",
        "by a stranger, in db",
        LAST,
    }


@pytest.mark.whole
def test_no_list_of_what_is_refused(tmp_path: Path) -> None:
    """No dbx; the middle in db and the maker only as text, which vouches for nothing."""
    made = programs()
    images = {
        "up to the middle": signed(next(made), LEAF),
        "beyond it": signed(next(made), OWN),
        "unsigned": next(made),
        LAST: signed(program("witness"), LEAF),
    }
    assert agree(tmp_path, images, certificates(MIDDLE, MAKER.pem), b"") == {"up to the middle", LAST}


def changed(data: bytes) -> bytes:
    """One bit of the first section."""
    at = pefile.PE(data=data, fast_load=True).sections[0].PointerToRawData
    return data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :]


def longer(data: bytes) -> bytes:
    """With a certificate table of eight bytes more, which hold no entry."""
    at = pefile.PE(data=data, fast_load=True).OPTIONAL_HEADER.DATA_DIRECTORY[4].get_file_offset()
    place, size = struct.unpack_from("<II", data, at)
    return data[:at] + struct.pack("<II", place, size + 8) + data[at + 8 :] + bytes(8)
