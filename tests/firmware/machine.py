"""A machine: firmware, its variables, disks, in a folder of its own. Started as often as a test likes."""

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import InitVar, dataclass, field
from pathlib import Path

from tests.firmware import cache, firmware
from tests.firmware.channel import Event
from tests.firmware.disk import Disk, Fat, Partition
from tests.firmware.drive import Drive, controllers
from tests.firmware.firmware import Firmware
from tests.firmware.image import Format, Image
from tests.firmware.process import SILENCE, Process
from tests.firmware.programs import program
from tests.firmware.variables import Variables, is_store, opened


@dataclass
class Machine:
    """`with machine.running() as process:` starts it cold; `run` also waits until it is off again. `given` is
    a store to use; without it the machine gets a fresh one."""

    folder: Path
    drives: tuple[Drive, ...]
    firmware: Firmware = firmware.X64
    memory: int = 256
    processors: int = 1
    arguments: tuple[str, ...] = ()
    given: InitVar[Image | None] = None
    store: Image = field(init=False)

    def __post_init__(self, given: Image | None) -> None:
        self.store = given or Image(self.folder / "variables.raw", Format.RAW)
        if given is None:
            cache.copy(_fresh_store(self.firmware), self.store.path)

    def variables(self) -> AbstractContextManager[Variables]:
        """The variables, to read and to change, while it is off: `with machine.variables() as variables:`"""
        return opened(self.store)

    def command(self) -> list[str | Path]:
        """QEMU's arguments but for the wiring to the host."""
        flash = f"if=pflash,unit=0,format=raw,readonly=on,file={self.firmware.code}"
        store = f"if=pflash,unit=1,format={self.store.format},file={self.store.path}"
        return [
            *self.firmware.arguments,
            *("-m", str(self.memory), "-smp", str(self.processors)),
            *("-nodefaults", "-no-user-config", "-display", "none", "-nic", "none"),
            *("-drive", flash, "-drive", store),
            *controllers(self.drives),
            *(word for drive in self.drives for word in drive.arguments()),
            *self.arguments,
        ]

    @contextmanager
    def running(self, *more: str) -> Iterator[Process]:
        """Starts it, with more arguments for QEMU; killed at the end if it has not switched itself off."""
        process = Process([*self.command(), *more], self.folder)
        try:
            yield process
        finally:
            process.kill()

    def run(self, silence: float = SILENCE) -> list[Event]:
        """Starts it and waits until it has switched itself off: what the programs that ran said, in order."""
        with self.running() as process:
            process.wait_end(silence)
            return list(process.console.events)


def _fresh_store(firmware_: Firmware) -> Path:
    """The packaged store. A blank one, which virt-firmware can't read, is first formatted by its firmware."""
    if is_store(firmware_.variables):
        return firmware_.variables
    recipe: list[str | bytes] = [
        str(firmware_.code),
        firmware_.code.read_bytes(),
        program("witness", firmware_.architecture),
    ]

    def build(folder: Path) -> None:
        blank = Image(folder / "variables.raw", Format.RAW)
        cache.copy(firmware_.variables, blank.path)
        witness = Fat({firmware_.default_file: program("witness", firmware_.architecture)})
        disk = Disk((Partition(content=witness),)).write(folder / "disk.raw")
        machine = Machine(folder, (Drive(disk),), firmware_, given=blank)
        machine.run()
        disk.path.unlink()
        with machine.variables() as variables:
            for name in [*(f"Boot{number:04X}" for number in variables.entries()), "BootOrder"]:
                variables.delete(name)

    return cache.cached("store", recipe, build) / "variables.raw"
