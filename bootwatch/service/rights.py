"""Whether each folder and file of ours belongs to whom it should, and nobody else may write or read it."""

from __future__ import annotations

import grp
import os
import pwd
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from bootwatch.places import Places
from bootwatch.tell.plain import plain

_FOLDERS = "sudo systemd-tmpfiles --create /etc/tmpfiles.d/bootwatch.conf"
_USERS = "sudo systemd-sysusers /etc/sysusers.d/bootwatch.conf"
_READER, _SENDER, _WATCH = "bootwatch", "bootwatch-send", "bootwatch-watch"
# Of so many files in one folder the rights are looked at.
_MOST = 2000


@dataclass(frozen=True)
class Right:
    """Who owns a place, and its mode; that of a folder to the letter, that of a file at most. ``inside``: at
    most that of the files in a folder, None where these aren't looked at."""

    path: Path
    owner: str
    group: str
    mode: int
    inside: int | None = None
    is_needed: bool = True
    is_folder: bool = True


@dataclass(frozen=True)
class Wrong:
    """What is wrong with one place, in a sentence, and the command that puts it right."""

    said: str
    mend: str


def rights(places: Places) -> list[Right]:
    """Who owns what: as DEVELOPERS.md has it."""
    group = _READER
    found = [
        Right(places.config, "root", "root", 0o644, is_needed=False, is_folder=False),
        Right(places.addresses, "root", "root", 0o600, is_needed=False, is_folder=False),
        Right(places.machine_key, "root", "root", 0o600, is_needed=False, is_folder=False),
        Right(places.state, "root", group, 0o750),
        Right(places.baseline, "root", group, 0o750, 0o640),
        Right(places.spares, "root", group, 0o750, 0o640),
        Right(places.kit, "root", group, 0o750, 0o644),
        Right(places.restores, "root", group, 0o750, 0o640, is_needed=False),
        Right(places.history, _READER, group, 0o750, 0o644),
        Right(places.spool, _READER, group, 0o750, 0o640),
        Right(places.receipts, _SENDER, group, 0o750, 0o644),
    ]
    if places.run:
        found += [
            Right(places.run, "root", group, 0o1775, 0o644),
            Right(places.run / "send", _SENDER, group, 0o755, 0o644),
            Right(places.run / "watch", _WATCH, group, 0o775),
        ]
    return found


def wrong_rights(places: Places) -> Iterator[Wrong]:
    """Each place that is not as it should be, as far as the caller sees it."""
    for right in rights(places):
        try:
            yield from _of_place(right)
        except KeyError:
            yield Wrong(f"There is no user {right.owner} or no group {right.group}.", _USERS)
            return
        except FileNotFoundError:
            if right.is_needed:
                yield Wrong(f"{right.path} is missing.", _FOLDERS)
        except PermissionError:
            pass  # what the caller may not see is not wrong


def _of_place(right: Right) -> Iterator[Wrong]:
    about = os.lstat(right.path)
    mode = stat.S_IMODE(about.st_mode)
    is_folder = stat.S_ISDIR(about.st_mode)
    if is_folder != right.is_folder or not (is_folder or stat.S_ISREG(about.st_mode)):
        yield _of_another_kind(right, is_link=stat.S_ISLNK(about.st_mode))
        return
    is_right = mode == right.mode if is_folder else not mode & ~right.mode
    owner, group = pwd.getpwnam(right.owner).pw_uid, grp.getgrnam(right.group).gr_gid
    if (about.st_uid, about.st_gid) != (owner, group) or not is_right:
        said = f"{right.path} should belong to {right.owner}:{right.group} and have the mode {right.mode:04o}"
        yield Wrong(f"{said}, not {_spelled(about)}.", _mend(right.path, right, right.mode))
    if is_folder and right.inside is not None:
        yield from _inside(right, right.inside, owner)


def _of_another_kind(right: Right, *, is_link: bool) -> Wrong:
    """It is put aside, with whatever it holds or leads to, and a folder made anew."""
    said = f"{right.path} should be a {'folder' if right.is_folder else 'file'}"
    said += f", and is a link to {os.path.realpath(right.path)}." if is_link else ", and is none."
    mend = f"sudo mv -T --backup=numbered {quoted(right.path)} {quoted(f'{right.path}.aside')}"
    return Wrong(
        said, (f"{mend} && {_FOLDERS}" if right.is_folder else mend) + " Then put back what it held."
    )


def _inside(right: Right, most: int, owner: int) -> Iterator[Wrong]:
    """The files in a folder: its owner's, and open to nobody else than they should be."""
    with os.scandir(right.path) as found:
        for _, entry in zip(range(_MOST), found, strict=False):
            about = entry.stat(follow_symlinks=False)
            mode = stat.S_IMODE(about.st_mode)
            is_file = stat.S_ISREG(about.st_mode)
            # In a folder that others may put files in, these are theirs.
            is_owned = about.st_uid == owner or bool(right.mode & stat.S_ISVTX)
            if is_file and (not is_owned or mode & ~most):
                said = (
                    f"{entry.path} should belong to {right.owner} and have no more than the mode {most:04o}"
                )
                yield Wrong(f"{said}, not {_spelled(about)}.", _mend(Path(entry.path), right, most))


def _mend(path: Path, right: Right, mode: int) -> str:
    owner, own = f"{right.owner}:{right.group}", str(path)
    if plain(own) == own and len(own.split()) == 1:
        return f"sudo chown -h {owner} {quoted(own)} && sudo chmod {mode:04o} {quoted(own)}"
    # A name that is not shown as it is.
    found = f"sudo find {quoted(path.parent)} -maxdepth 1 -inum {path.lstat().st_ino}"
    return f"{found} -exec chown -h {owner} {{}} + -exec chmod {mode:04o} {{}} +"


def quoted(path: str | Path) -> str:
    """As a shell takes it for one word, whatever it holds: who may make files may name them."""
    return "'" + str(path).replace("'", "'\\''") + "'"


def _spelled(about: os.stat_result) -> str:
    try:
        owner = pwd.getpwuid(about.st_uid).pw_name
    except KeyError:
        owner = str(about.st_uid)
    try:
        group = grp.getgrgid(about.st_gid).gr_name
    except KeyError:
        group = str(about.st_gid)
    return f"{owner}:{group} {stat.S_IMODE(about.st_mode):04o}"
