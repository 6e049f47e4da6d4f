"""What Secure Boot makes of programs: UEFI 2.10 §32.5.3 by hand. Against real firmware: tests/firmware."""

from __future__ import annotations

import hashlib
import struct
import uuid
from dataclasses import replace

import pytest

from bootwatch.formats.pe import Image
from bootwatch.formats.sbat import SbatEntry
from bootwatch.judge import trust_chain
from bootwatch.judge.trust import SecureBoot, Starter, Verdict
from bootwatch.judge.trust_keys import Database
from bootwatch.model.gap import Gap, Reason
from bootwatch.model.snapshot import State
from bootwatch.model.variable import IMAGE_SECURITY, Variable, key
from tests.formats.tools import SAMPLES

SIGNED = SAMPLES / "signed"
PLAIN, ONCE, TWICE = (
    Image.parse(path.read_bytes())
    for path in (SAMPLES / "x64.efi", SIGNED / "once.efi", SIGNED / "twice.efi")
)
DIGEST = bytes.fromhex((SIGNED / "once.sha256").read_text())
AUTHORITY, MIDDLE, LEAF, STRANGER = (
    (SIGNED / f"{name}.der").read_bytes() for name in ("authority", "middle", "leaf", "stranger")
)
X509, SHA256 = "a5c059a1-94e4-4aa7-87b5-ab155c2bf072", "c1c41626-504c-4092-aca9-41f936934328"
X509_SHA256 = "3bd2a492-96c0-4079-b420-fcf98ef103ed"
ALLOWED, REFUSED, UNKNOWN = Verdict
ON = {key("SecureBoot"): Variable(6, b"\1")}
GAP = (Gap("variables", "*", Reason.DENIED, "Permission denied"),)


def signatures(kind: str, *values: bytes) -> bytes:
    each = 16 + len(values[0])
    head = struct.pack("<16sIII", uuid.UUID(kind).bytes_le, 28 + each * len(values), 0, each)
    return head + b"".join(uuid.UUID(int=7).bytes_le + value for value in values)


def secure(db: bytes = b"", dbx: bytes = b"", **more: bytes) -> SecureBoot:
    held = {name: data for name, data in {"db": db, "dbx": dbx, **more}.items() if data}
    variables = {key(name, IMAGE_SECURITY): Variable(0x27, data) for name, data in held.items()}
    return SecureBoot.of(State(variables={**ON, **variables}), ())


def test_off_nothing_is_checked() -> None:
    for variables in ({}, {key("SecureBoot"): Variable(6, b"\0")}):
        assert SecureBoot.of(State(variables=variables), ()).judge(PLAIN).verdict is ALLOWED


def test_what_could_not_be_read_is_unknown() -> None:
    assert SecureBoot.of(State(), GAP).judge(PLAIN).verdict is UNKNOWN
    only_on = SecureBoot.of(State(variables=ON), GAP)
    assert (only_on.judge(PLAIN).verdict, only_on.judge(ONCE).verdict) == (UNKNOWN, UNKNOWN)


@pytest.mark.parametrize(
    ("db", "dbx", "expected"),
    [
        (b"", b"", REFUSED),
        (signatures(SHA256, bytes(32), DIGEST), b"", ALLOWED),
        (signatures(SHA256, DIGEST), signatures(SHA256, DIGEST), REFUSED),
        (signatures(X509, AUTHORITY), b"", REFUSED),
        (signatures(SHA256, bytes(32))[:-1], b"", UNKNOWN),
        (signatures(SHA256, DIGEST), signatures(SHA256, bytes(32))[:-1], UNKNOWN),
    ],
    ids=["no db", "in db", "in both", "certificate", "damaged db", "damaged dbx"],
)
def test_unsigned(db: bytes, dbx: bytes, expected: Verdict) -> None:
    assert secure(db, dbx).judge(PLAIN).verdict is expected


SINCE_EVER, SINCE_2020 = bytes(16), struct.pack("<HBB12x", 2020, 1, 1)


def tbs(certificate: bytes, since: bytes) -> bytes:
    """The digest of the certificate's first part, whose length is spelled in two bytes."""
    (size,) = struct.unpack_from(">H", certificate, 6)
    return signatures(X509_SHA256, hashlib.sha256(certificate[4 : 8 + size]).digest() + since)


@pytest.mark.parametrize(
    ("image", "db", "dbx", "expected"),
    [
        (ONCE, signatures(X509, AUTHORITY), b"", ALLOWED),
        (ONCE, signatures(X509, MIDDLE), b"", ALLOWED),
        (ONCE, signatures(X509, LEAF), b"", ALLOWED),
        (ONCE, signatures(X509, STRANGER), b"", REFUSED),
        (ONCE, signatures(SHA256, DIGEST), b"", ALLOWED),
        (ONCE, signatures(X509, AUTHORITY), signatures(SHA256, DIGEST), REFUSED),
        (ONCE, signatures(X509, LEAF), signatures(X509, AUTHORITY), REFUSED),
        (TWICE, signatures(X509, AUTHORITY), b"", ALLOWED),
        (
            TWICE,
            signatures(X509, AUTHORITY) + signatures(SHA256, DIGEST),
            signatures(X509, STRANGER),
            REFUSED,
        ),
        (ONCE, signatures(X509, AUTHORITY), tbs(LEAF, SINCE_EVER), REFUSED),
        (ONCE, signatures(X509, AUTHORITY), tbs(LEAF, SINCE_2020), REFUSED),
        (ONCE, signatures(X509, AUTHORITY), tbs(MIDDLE, SINCE_EVER), ALLOWED),
        (ONCE, signatures(X509, AUTHORITY), tbs(AUTHORITY, SINCE_EVER), REFUSED),
        (ONCE, signatures(X509, AUTHORITY), signatures(X509, b"-----BEGIN CERTIFICATE-----"), ALLOWED),
        (ONCE, signatures(X509, AUTHORITY), signatures(X509, LEAF[:-9]), UNKNOWN),
        (ONCE, signatures(X509, LEAF[:-9]), b"", UNKNOWN),
    ],
)
def test_signed(image: Image, db: bytes, dbx: bytes, expected: Verdict) -> None:
    assert secure(db, dbx).judge(image).verdict is expected


def test_revoked_since_a_time_that_only_signed_times_could_tell() -> None:
    found = secure(signatures(X509, AUTHORITY), tbs(LEAF, SINCE_2020), dbt=signatures(X509, STRANGER))
    assert found.judge(ONCE).verdict is UNKNOWN


def test_the_reason_names_the_certificate() -> None:
    found = secure(signatures(X509, LEAF), signatures(X509, AUTHORITY)).judge(ONCE)
    assert found.why == 'dbx revokes the certificate "authority", which its signature leads to'


def test_without_the_library_certificates_are_unknown(monkeypatch: pytest.MonkeyPatch) -> None:
    """As in a kit's program. Digests need none."""
    monkeypatch.setattr(trust_chain, "can_verify", lambda: False)
    assert secure(signatures(X509, AUTHORITY)).judge(ONCE).verdict is UNKNOWN
    assert secure(signatures(X509, AUTHORITY), signatures(SHA256, DIGEST)).judge(ONCE).verdict is REFUSED
    assert secure(signatures(SHA256, DIGEST)).judge(ONCE).verdict is ALLOWED
    assert secure(signatures(X509, AUTHORITY)).judge(PLAIN).verdict is REFUSED


# what another program starts


def test_a_starter_may_have_keys_of_its_own() -> None:
    nothing = secure(signatures(X509, STRANGER))
    assert nothing.judge(ONCE, Starter()).verdict is UNKNOWN
    own = Starter(True, Database.parse(signatures(X509, AUTHORITY)))
    assert nothing.judge(ONCE, own).verdict is ALLOWED
    revoked = secure(signatures(X509, STRANGER), signatures(X509, AUTHORITY))
    assert revoked.judge(ONCE, own).verdict is REFUSED
    refuses = Starter(True, own.takes, Database.parse(signatures(SHA256, DIGEST)))
    assert nothing.judge(ONCE, refuses).verdict is REFUSED


def of_generation(number: int) -> property:
    def entries(_: Image) -> list[SbatEntry]:
        return [SbatEntry("loader", number)]

    return property(entries)


def test_shim_asks_for_generations(monkeypatch: pytest.MonkeyPatch) -> None:
    shim = Starter(is_shim=True)
    known = secure(signatures(X509, AUTHORITY))
    asks = replace(known, level=(SbatEntry("sbat", 1), SbatEntry("loader", 3)))
    for generation, expected in ((2, REFUSED), (3, ALLOWED)):
        monkeypatch.setattr(Image, "sbat", of_generation(generation))
        assert asks.judge(ONCE, shim).verdict is expected
        assert asks.judge(ONCE).verdict is ALLOWED  # the firmware itself doesn't ask
        assert known.judge(ONCE, shim).verdict is ALLOWED  # nothing mirrors what shim asks for
