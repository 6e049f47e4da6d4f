"""A stick that starts: OVMF's own shell as its default file finds the right kit on it, with nothing typed."""

import json
import re
import shutil
import struct
from pathlib import Path

import pytest

from tests.firmware.damages import DAMAGES
from tests.firmware.disk import Disk, Fat, Partition
from tests.firmware.drive import Bus, Drive
from tests.firmware.machine import Machine
from tests.firmware.restore_machine import Dual
from tests.firmware.restore_ways import proof
from tests.firmware.shell_file import shell_file
from tests.firmware.shell_way import begin, typed
from tests.firmware.variables import file_on, load_option

pytestmark = [pytest.mark.firmware, pytest.mark.whole]
_PARTITION = "57100000-0001-4000-8000-000000000001"
_CHOSEN = 0x0F0F
_IDENTIFIERS = re.compile(r"GPT,[0-9A-F]{4}")


def test_chosen_in_the_menu_it_brings_both_systems_back(tmp_path: Path) -> None:
    dual = Dual.made(tmp_path, defaults=False)
    dual.save_baseline()
    folder = tmp_path / "starting"
    folder.mkdir()
    _kit_of_another_machine(dual.kit, folder / "attic-2026-01-01")
    (tmp_path / "shell.efi").write_bytes(shell_file())
    done = dual.bootwatch(
        *("baseline", "export", "--to", folder, "--with-shell", tmp_path / "shell.efi", "--json")
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["stick"]["chosen"]["starts"] is True
    for name in ("both entries deleted", "loader emptied"):
        DAMAGES[name].do(dual)
    with _with_stick(dual, folder).running() as process:
        begin(process)
        process.wait_text("startup.nsh")  # it counts down to it
        typed(process, "\n")
        process.wait_text("Nothing was written so far")
        typed(process, "y")
        process.wait_text("type: reset")
        typed(process, "reset -s\n")
        process.wait_end()
        said = process.console.text.decode("utf-8", "replace")
    assert "loading Boot0F0F" in said and "Internal Shell" not in said
    assert said.index("None of its volumes is here") < said.index("loaderx64.efi: put back")
    with dual.variables() as variables:
        variables.delete(f"Boot{_CHOSEN:04X}")
    assert proof(dual).as_usual


def _with_stick(dual: Dual, folder: Path) -> Machine:
    """The stick in, and for once its partition is chosen, as by its line in the firmware's menu."""
    files = {
        "\\" + str(path.relative_to(folder)).replace("/", "\\"): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
    stick = Disk((Partition(_PARTITION, content=Fat(files)),))
    image = stick.write(dual.folder / "stick.raw")
    with dual.variables() as variables:
        variables.set(f"Boot{_CHOSEN:04X}", load_option("Stick", file_on(stick, 1)))
        variables.set("BootNext", struct.pack("<H", _CHOSEN))
    machine = dual.machine
    machine.drives = (*machine.drives, Drive(image, Bus.USB))
    return machine


def _kit_of_another_machine(kit: Path, to: Path) -> None:
    """Its partitions and folders are others; it is listed first, by its name."""
    shutil.copytree(kit, to)
    about = json.loads((to / "about.json").read_text())
    (to / "about.json").write_text(json.dumps(about | {"machine": "attic"}))
    script = (to / "startup.nsh").read_bytes().decode("utf-16")
    script = _IDENTIFIERS.sub("GPT,DEAD", script)
    for system in ("fernwick", "quarry"):
        script = script.replace(f"\\EFI\\{system}", f"\\EFI\\{system}-elsewhere")
    (to / "startup.nsh").write_bytes(b"\xff\xfe" + script.encode("utf-16-le"))
