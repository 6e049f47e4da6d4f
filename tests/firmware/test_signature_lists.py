"""The signature databases that the packaged firmware comes with, against virt-firmware's reading of them."""

import uuid
from pathlib import Path

import pytest
from virt.firmware.efi import siglist
from virt.firmware.varstore.autodetect import open_varstore

from bootwatch.formats.signature_list import parse

pytestmark = pytest.mark.firmware

FOLDERS = (Path("/usr/share/OVMF"), Path("/usr/share/AAVMF"))
STORES = [
    path
    for folder in FOLDERS
    for path in sorted(folder.glob("*VARS*.fd"))
    if ".ms." in path.name or ".snakeoil." in path.name
]


def test_there_are_stores() -> None:
    assert STORES, "the packages in tests/firmware.packages bring some"


@pytest.mark.parametrize("store", STORES, ids=lambda path: path.name)
def test_packaged_databases_read_the_same(store: Path) -> None:
    variables = open_varstore(str(store)).get_varlist()
    for name in ("PK", "KEK", "db", "dbx"):
        data = variables[name].data
        lists = parse(data)
        theirs = siglist.EfiSigDB(data)
        assert [
            (item.type, [(signature.owner, signature.data) for signature in item.signatures])
            for item in lists
        ] == [
            (uuid.UUID(str(item.guid)), [(uuid.UUID(str(entry["guid"])), entry["data"]) for entry in item])
            for item in theirs
        ]
        assert {item.type_name for item in lists} <= {"X509", "SHA256"}
        assert lists.problems == []
