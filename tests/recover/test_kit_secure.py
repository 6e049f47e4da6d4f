"""Kits and restores with Secure Boot on: what it would refuse brings nothing back, and is named."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pefile
import pytest
from virt.peutils.pesign import pe_authenticode_hash

from bootwatch.places import Places
from bootwatch.recover.kit import Kit
from bootwatch.service.kit_check import handed, put, tried_on_newest
from tests.cli.commands import Commands
from tests.firmware.secure import SECURITY
from tests.firmware.signing import Owner, certificates, digests, signed
from tests.recover.test_restore import good, machine
from tests.roots import DEFAULT_LOADER, FERNWICK_ESP, FERNWICK_LOADER, Root, program

__all__ = ["good", "machine"]
pytestmark = pytest.mark.long
AUTHENTICATED = 0x27
MAKER, OLD_MAKER = Owner("Fernwick's maker"), Owner("Fernwick's former maker")
SECOND = "\\EFI\\fernwick\\secondx64.efi"
FERNWICK, QUARRY, TARN = program("fernwick 1"), program("quarry 1"), program("tarn 1")


def switch_on(root: Root, db: bytes, dbx: bytes = b"") -> None:
    root.variable("SecureBoot", b"\1", attributes=6)
    root.variable("db", db, AUTHENTICATED, SECURITY)
    if dbx:
        root.variable("dbx", dbx, AUTHENTICATED, SECURITY)


def digest(data: bytes) -> bytes:
    found = pe_authenticode_hash(pefile.PE(data=data))
    assert isinstance(found, bytes)
    return found


def checked(machine: Commands, stick: Path) -> tuple[int, dict[str, Any], str]:
    assert machine("baseline", "export", "--to", str(stick), "--yes").status == 0
    said = machine("baseline", "export", "--check", str(stick), "--json")
    shown = machine("baseline", "export", "--check", str(stick))
    return said.status, said.document, " ".join(shown.out.split())


def with_loader(machine: Commands, loader: bytes) -> None:
    """Fernwick Linux starts by that loader alone, and so it was when the baseline was saved."""
    machine.root.put("vda", 1, FERNWICK_LOADER, loader)
    machine.root.remove("vda", 1, DEFAULT_LOADER)
    machine.save()


def backs(document: dict[str, Any], path: str) -> list[bool | None]:
    return [one["back"] for one in document["losses"] if one["kind"] == "file" and path in one["what"]]


@pytest.fixture
def stick(tmp_path: Path) -> Path:
    folder = tmp_path / "stick"
    folder.mkdir()
    return folder


def test_what_it_takes_brings_all_back(machine: Commands, stick: Path) -> None:
    with_loader(machine, signed(FERNWICK, MAKER))
    switch_on(machine.root, certificates(MAKER) + digests(digest(QUARRY), digest(TARN)))
    status, document, shown = checked(machine, stick)
    assert (status, document["back"], document["secure_boot"]) == (0, True, {"on": True, "doubtful": []})
    assert "It brings Fernwick Linux, Quarry and Tarn Rescue back: yes" in shown


def test_what_it_refuses_today_is_named(machine: Commands, stick: Path) -> None:
    with_loader(machine, signed(FERNWICK, OLD_MAKER))
    known = digests(digest(QUARRY), digest(TARN))
    switch_on(machine.root, certificates(OLD_MAKER) + known)
    assert checked(machine, stick)[0] == 0
    switch_on(machine.root, certificates(OLD_MAKER) + known, certificates(OLD_MAKER))
    status, document, shown = checked(machine, stick)
    assert (status, document["back"]) == (1, False)
    (named,) = document["secure_boot"]["doubtful"]
    assert (named["path"], named["volume"]) == (FERNWICK_LOADER, f"gpt:{FERNWICK_ESP}")
    assert named["verdict"] == "refused"
    why = 'dbx revokes the certificate "Fernwick\'s former maker"'
    assert why in named["why"]
    assert (
        f"{FERNWICK_LOADER} on gpt:{FERNWICK_ESP} would be refused by Secure Boot as it is set today" in shown
    )
    assert why in shown
    assert backs(document, FERNWICK_LOADER) == [False]
    assert document["losses"][0]["back"] is False  # as it is, it doesn't start either


@pytest.mark.whole
def test_unsigned_and_unknown_is_refused(machine: Commands, stick: Path) -> None:
    with_loader(machine, FERNWICK)
    switch_on(machine.root, digests(digest(QUARRY), digest(TARN)))
    _, document, _ = checked(machine, stick)
    (named,) = document["secure_boot"]["doubtful"]
    assert named["why"] == "it is not signed, and db doesn't hold its digest"


@pytest.mark.whole
def test_another_way_that_it_takes_is_enough(machine: Commands, stick: Path) -> None:
    """The second file is refused, but the first brings the system back."""
    machine.root.put("vda", 1, DEFAULT_LOADER, program("fernwick 2"))
    machine.save()
    switch_on(machine.root, digests(digest(FERNWICK), digest(QUARRY), digest(TARN)))
    status, document, _ = checked(machine, stick)
    assert (status, document["back"]) == (0, True)
    assert {one["path"] for one in document["secure_boot"]["doubtful"]} <= {DEFAULT_LOADER}


@pytest.mark.whole
def test_what_a_loader_starts_may_go_by_other_keys(machine: Commands, stick: Path) -> None:
    """Neither a yes nor a no, unless dbx refuses it. The system is followed to its loader only: a yes."""
    second = program("fernwick, second")
    machine.root.put("vda", 1, SECOND, second)
    with_loader(machine, FERNWICK)
    known = digests(digest(FERNWICK), digest(QUARRY), digest(TARN))
    for dbx, verdict in ((b"", "unknown"), (digests(digest(second)), "refused")):
        switch_on(machine.root, known, dbx)
        status, document, _ = checked(machine, stick)
        (named,) = document["secure_boot"]["doubtful"]
        assert (status, named["path"], named["verdict"]) == (0, SECOND, verdict)


@pytest.mark.whole
def test_databases_that_could_not_be_read_are_no_answer(machine: Commands, stick: Path) -> None:
    with_loader(machine, signed(FERNWICK, MAKER))
    switch_on(machine.root, certificates(MAKER) + digests(digest(QUARRY), digest(TARN)))
    file = machine.root.variable_file("dbx", SECURITY)
    file.mkdir()  # can't be read as a file
    status, document, shown = checked(machine, stick)
    assert (status, document["back"]) == (3, None)
    assert "whether Secure Boot takes it can't be told: not all that dbx holds could be read" in shown


@pytest.mark.whole
def test_off_is_no_matter(machine: Commands, stick: Path) -> None:
    machine.root.variable("SecureBoot", b"\0", attributes=6)
    status, document, _ = checked(machine, stick)
    assert (status, document["secure_boot"]) == (0, {"on": False, "doubtful": []})


@pytest.mark.whole
def test_what_is_handed_over_is_judged_the_same(machine: Commands, stick: Path) -> None:
    """As the service's user gets it from root."""
    with_loader(machine, signed(FERNWICK, OLD_MAKER))
    switch_on(machine.root, digests(digest(QUARRY), digest(TARN)))
    assert machine("snapshot").status == 0
    document = checked(machine, stick)[1]
    places = Places.below(machine.root.folder)
    (place,) = stick.iterdir()
    kit = Kit.open(place)
    with open(os.memfd_create("kit"), "w+b") as file:
        put(file, handed(places, kit), kit, with_programs=True)
        found = tried_on_newest(places, os.dup(file.fileno()))
    assert found["secure_boot"] == document["secure_boot"]
    assert [one["back"] for one in found["losses"]] == [one["back"] for one in document["losses"]]
    assert found["secure_boot"]["doubtful"]


# before a restore


def test_a_restore_names_it_first(machine: Commands) -> None:
    with_loader(machine, signed(FERNWICK, MAKER))
    machine.root.remove("vda", 1, FERNWICK_LOADER)
    known = digests(digest(QUARRY), digest(TARN))
    switch_on(machine.root, known + certificates(MAKER))
    assert machine("restore", "--json").document["secure_boot"] == []
    switch_on(machine.root, known)
    (named,) = machine("restore", "--json").document["secure_boot"]
    assert (named["verdict"], named["path"]) == ("refused", FERNWICK_LOADER)
    shown = " ".join(machine("restore").out.split())
    assert "would be refused by Secure Boot as it is set today: no certificate in db vouches for" in shown


@pytest.mark.whole
def test_a_second_route_names_it_first(machine: Commands) -> None:
    with_loader(machine, FERNWICK)
    switch_on(machine.root, digests(digest(QUARRY), digest(TARN)))
    said = machine("restore", "--add-route", "Fernwick Linux", "--json").document
    placed = [one["path"] for one in said["steps"] if one["step"] == "write-file"]
    named = [(one["path"], one["verdict"]) for one in said["secure_boot"]]
    assert placed
    assert named == [(path, "refused") for path in placed]
