"""Making recovery kits: from the baseline and its spares alone, as an administrator or by root's own unit."""

from __future__ import annotations

import contextlib
import dataclasses
import hashlib
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bootwatch.config import Config, carried_settings
from bootwatch.judge.architecture import architecture_of
from bootwatch.keep import baseline as baselines
from bootwatch.keep import spares
from bootwatch.keep.baseline import Baseline
from bootwatch.keep.files import locked
from bootwatch.keep.kit_note import note
from bootwatch.observe.snapshot import utc_now
from bootwatch.places import Places
from bootwatch.problem import BaselineProblem, Problem, UsageProblem
from bootwatch.recover.kit import Kit, is_kit, read_about
from bootwatch.recover.kit_contents import PROGRAM, SETTINGS, Contents, contents
from bootwatch.recover.kit_files import files_at
from bootwatch.recover.kit_names import safe_name
from bootwatch.recover.kit_program import program
from bootwatch.recover.kit_write import require_free, write_folder, write_zip
from bootwatch.recover.shell import shell_files
from bootwatch.recover.shell_stick import Listed
from bootwatch.service import stick
from bootwatch.service.ask import must_ask
from bootwatch.service.sheet import sheets_for
from bootwatch.tell.kit_readme import readme
from bootwatch.tell.plain import plain
from bootwatch.tell.sheet_ways import Held

_SYSTEMD = Path("/run/systemd/system")
_KEPT_ELSEWHERE, _KEPT_HERE = 3, 1  # kits of one machine that a renewal leaves side by side


@dataclass(frozen=True)
class Given:
    """What may go into a kit is worked out from this; ``about`` is what about.json says, ``files`` what is in
    it so far. ``starts``: it goes onto a stick that starts a shell."""

    places: Places
    baseline: Baseline
    about: dict[str, Any]
    files: tuple[str, ...]
    starts: bool


More = Callable[[Given], dict[str, bytes]]


def _program(given: Given) -> dict[str, bytes]:
    return {PROGRAM: program()}


def _settings(given: Given) -> dict[str, bytes]:
    """None where there is a mistake in them, which the sheets' making says: a kit must not fail for it."""
    try:
        return {SETTINGS: carried_settings(given.places.config)}
    except UsageProblem:
        return {}


def _readme(given: Given) -> dict[str, bytes]:
    return {"README.txt": readme(given.about, starts=given.starts).encode()}


def _shell(given: Given) -> dict[str, bytes]:
    baseline = given.baseline
    return shell_files(baseline.state, baseline.machine, baseline.saved, given.about["volumes"], given.files)


def _sheets(given: Given) -> dict[str, bytes]:
    made, lacks = given.about["made"], given.about["without_files"]
    held = Held(_name(given.about["machine"], made), made, given.files, given.starts, lacks)
    return sheets_for(given.places, given.baseline, held)


# What else goes into a kit: each gives files by their path in it, with slashes. The sheets say what is in it,
# and come last.
MORE: tuple[More, ...] = (_program, _settings, _readme, _shell, _sheets)


@dataclass(frozen=True)
class Exported:
    """A kit that was written and read back; ``shell`` was placed beside it so that the stick starts."""

    place: Path
    about: dict[str, Any]
    files: int
    size: int
    shell: stick.Shell | None = None


def export(places: Places, to: Path, *, by: str, replace: bool, shell: str | None = None) -> Exported:
    """Make a kit in the folder ``to``, under a name of its own, or as the zip ``to``. ``shell`` is a UEFI
    shell's file to place there, "" for the distribution's. Raises Problem."""
    require_place(places, to, replace=replace)
    with_shell = None if shell is None else _shell_for(places, to, shell)
    kit = _made(places, by, starts=with_shell is not None or stick.starts(places, to))
    exported = _put(kit, to, replace=replace)
    _note(places, exported)
    if with_shell:
        stick.place(to, with_shell, _listed(to))
    elif stick.starts(places, to):
        stick.renew(to, _listed(to))
    return dataclasses.replace(exported, shell=with_shell)


def _shell_for(places: Places, to: Path, named: str) -> stick.Shell:
    """Everything is looked at before anything is written."""
    if _is_zip(to):
        raise UsageProblem("A shell is placed on a stick, and not in a zip.", "Name the stick's folder.")
    state = _baseline(places)[0].state
    stick.require_stick(places, to, state.disks.values())
    found = stick.shell_for(named, architecture_of(state))
    stick.require_room(to, found)
    return found


def _listed(to: Path) -> list[Listed]:
    """The kits of a stick: by machine, the newest of each first."""
    found = sorted(_kits_in(to), key=lambda one: (one[1]["machine"], -one[1]["serial"], one[0].name))
    return [Listed(place.name, about["machine"], about["made"]) for place, about in found]


def require_place(places: Places, to: Path, *, replace: bool) -> None:
    """Raise UsageProblem where a kit can't be put ``to``, before anything is made or asked."""
    if not _is_zip(to):
        if not to.is_dir():
            raise UsageProblem(
                f"There is no folder {to}.",
                "Name one that is there: that of a stick, say; or a file that ends in .zip.",
            )
        header = baselines.load_header(places.baseline)
        if header:
            require_free(to / _name(header.machine, utc_now()), replace=replace)


def renew(places: Places, folder: Path | None, *, by: str) -> Exported | None:
    """Make the kit that is always kept on the machine anew, or that in ``folder``, if there is a newer
    baseline or program; None where the kit is as new as these. Raises Problem."""
    to = folder or places.kit
    with _alone(places):
        if folder is None:
            to.mkdir(mode=0o750, exist_ok=True)
        kit = _made(places, by, starts=stick.starts(places, to))
        here = [one for one in _kits_in(to) if one[1]["machine_id"] == kit.about["machine_id"]]
        if any(_is_same(place, about, kit) for place, about in here):
            return None
        exported = _put(kit, to, replace=True)
        if folder:
            _note(places, exported)
        _drop_old(to, here, exported, _KEPT_ELSEWHERE if folder else _KEPT_HERE)
        if stick.starts(places, to):
            stick.renew(to, _listed(to))
        return exported


def renew_own(places: Places, *, by: str) -> None:
    """After a baseline was saved on the running machine: the kit that is kept there. Where that fails the
    baseline is saved all the same, and it is said; the unit tries again."""
    if not must_ask(places):
        return
    try:
        renew(places, None, by=by)
    except (Problem, OSError) as error:
        said = error.message if isinstance(error, Problem) else error.strerror
        print(
            f"bootwatch: the recovery kit on this machine was not renewed: {plain(str(said))}",
            file=sys.stderr,
        )


def start_elsewhere(places: Places) -> None:
    """Have the kit in the folder that the settings name renewed, by a unit that may write there and nowhere
    else. Raises Problem."""
    to = Config.load(places.config).kit_to
    if to is None or not places.is_this_machine or not _SYSTEMD.is_dir():
        return
    escape = ["systemd-escape", "--path", "--template=bootwatch-kit-to@.service", str(to)]
    unit = _run(escape).strip()
    _run(["systemctl", "start", "--no-block", unit])


def _run(command: list[str]) -> str:
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False)
    if done.returncode:
        said = done.stderr.strip().splitlines()
        raise Problem(f"{command[0]} failed: {said[0] if said else 'it did not say why'}")
    return done.stdout


def _made(places: Places, by: str, *, starts: bool) -> Contents:
    baseline, yaml = _baseline(places)
    made = contents(
        baseline,
        yaml,
        lambda own: spares.read(places.spares, own),
        made=utc_now(),
        by=by,
        serial=_serial(places, baseline),
    )
    for more in MORE:
        for path, data in more(Given(places, baseline, made.about, tuple(made.files), starts)).items():
            if not made.add(path, data):
                raise Problem(f"{path} can't be put into a recovery kit.")
    return made


def _baseline(places: Places) -> tuple[Baseline, bytes]:
    """Root's own reading of it: the reader's parsed form is never believed."""
    found = baselines.load(places.baseline)
    if found is None:
        raise BaselineProblem(
            "There is no baseline yet, and a recovery kit is made of it.",
            "When both systems start as they should, say so: sudo bootwatch baseline save --reason TEXT",
        )
    yaml = (places.baseline / baselines.FILE_NAME).read_bytes()
    if hashlib.sha256(yaml).hexdigest() != found.digest:
        raise Problem("The baseline was replaced meanwhile; nothing was written.", "Run it once more.")
    return found, yaml


def _serial(places: Places, baseline: Baseline) -> int:
    try:
        return baselines.serial(places.baseline, baseline.saved)
    except OSError as error:
        raise Problem(
            f"Root's log {places.baseline}/log can't be read: {error.strerror}. Nothing was written.",
            "See whether its disk is failing; which of two kits is the newer one is told by it.",
        ) from error


def _put(kit: Contents, to: Path, *, replace: bool) -> Exported:
    files = kit.whole()
    try:
        if _is_zip(to):
            place = write_zip(to, files, Kit.open, replace=replace)
        else:
            name = _name(kit.about["machine"], kit.about["made"])
            place = write_folder(to, name, files, Kit.open, replace=replace)
    except OSError as error:
        raise Problem(
            f"The recovery kit can't be written to {to}: {error.strerror}. Nothing was changed.",
            "See whether there is room, and whether you may write there.",
        ) from error
    return Exported(place, kit.about, len(files), sum(map(len, files.values())))


def _is_zip(to: Path) -> bool:
    return to.suffix.lower() == ".zip" and not to.is_dir()


def _name(machine: str, made: str) -> str:
    return f"{safe_name(machine)}-{made[:10]}"


# renewing


@contextlib.contextmanager
def _alone(places: Places) -> Iterator[None]:
    """The command that saved a baseline and the unit that saw it may come at the same time."""
    try:
        handle = os.open(places.baseline, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    except OSError as error:
        raise BaselineProblem(
            f"The baseline in {places.baseline} can't be read: {error.strerror}.", "Run it with sudo."
        ) from error
    with locked(handle):
        yield


def _kits_in(folder: Path) -> list[tuple[Path, dict[str, Any]]]:
    found = []
    try:
        for place in sorted(folder.iterdir()):
            if place.is_dir() and is_kit(place) and not place.name.startswith("."):
                with contextlib.suppress(Problem):
                    found.append((place, read_about(files_at(place))))
    except OSError as error:
        raise UsageProblem(
            f"{folder} can't be read: {error.strerror}.", "See whether it is there."
        ) from error
    return found


def _is_same(place: Path, about: dict[str, Any], kit: Contents) -> bool:
    """Whether a kit holds what the new one would, and is whole."""
    if about["baseline"]["digest"] != kit.about["baseline"]["digest"]:
        return False
    try:
        found = Kit.open(place)
        here = found.files.sizes()
        is_same = all(
            (found.files.read(one) if one in here else None) == kit.files.get(one)
            for one in (PROGRAM, SETTINGS, "owner.txt")
        )
        return is_same and found.about["without"] == about["without"]
    except Problem:
        return False


def _drop_old(folder: Path, here: list[tuple[Path, dict[str, Any]]], new: Exported, keep: int) -> None:
    """Kits of this machine before the newest few; other machines' stay."""
    old = sorted(
        (one for one in here if one[0] != new.place),
        key=lambda one: (one[1]["serial"], one[0].name),
        reverse=True,
    )
    for place, _ in old[keep - 1 :]:
        shutil.rmtree(place, ignore_errors=True)


def _note(places: Places, exported: Exported) -> None:
    about = exported.about
    note(places.kit, made=about["made"], to=str(exported.place), baseline=about["baseline"]["digest"])
