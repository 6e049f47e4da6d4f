"""Lines of package managers' logs that say that a package was installed, updated or removed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

from bootwatch.model.package import Action, PackageChange

_MOST_CHANGES = 200
_LONGEST_LINE = 1024
# A package's name or a version: nothing that a terminal or a page could take for more than text.
_WORD = r"[!-~]{1,128}?"

# By the log's path below the machine's root. Each has the groups action and package, and old or new
# versions; "one" is whichever of them the action means. What else a log says is not a change of files.
LOGS: dict[str, re.Pattern[str]] = {
    path: re.compile(pattern.replace("WORD", _WORD))
    for path, pattern in {
        # dpkg(1), --log: "action package installed-version available-version".
        "var/log/dpkg.log": (
            r"\S+ \S+ (?P<action>install|upgrade|remove|purge|disappear)"
            r" (?P<package>WORD)(:[a-z0-9-]{1,32})? (?P<old>WORD) (?P<new>WORD)"
        ),
        "var/log/pacman.log": (
            r"\[[^]]+\] \[ALPM\] (?P<action>installed|reinstalled|upgraded|downgraded|removed)"
            r" (?P<package>WORD) \(((?P<old>WORD) -> (?P<new>WORD)|(?P<one>WORD))\)"
        ),
        # A replaced package has a line of its own ("Upgraded:"), which adds nothing.
        "var/log/dnf.rpm.log": (
            r"\S+ SUBDEBUG (?P<action>Installed|Reinstall|Upgrade|Downgrade|Erase):"
            r" (?P<package>WORD)-(?P<one>[!-,.-~]{1,64}-[!-,.-~]{1,64})\.[a-z0-9_]{1,32}"
        ),
        # An update is logged as another installation.
        "var/log/zypp/history": (
            r"[^|]+\|(?P<action>install|remove) *\|(?P<package>WORD)\|(?P<one>WORD)\|.*"
        ),
        "var/log/apk.log": (
            r"\( *\d+/\d+\) (?P<action>Installing|Reinstalling|Replacing|Upgrading|Downgrading|Purging)"
            r" (?P<package>WORD) \(((?P<old>WORD) -> (?P<new>WORD)|(?P<one>WORD))\)"
        ),
    }.items()
}

_ACTIONS = {
    Action.INSTALLED: {"install", "installed", "installing"},
    Action.UPDATED: {
        *("upgrade", "upgraded", "upgrading", "downgrade", "downgraded", "downgrading"),
        *("reinstall", "reinstalled", "reinstalling", "replacing"),
    },
    Action.REMOVED: {"remove", "removed", "purge", "purging", "erase", "disappear"},
}
_ACTION_OF = {word: action for action, words in _ACTIONS.items() for word in words}


def changes_in(line: re.Pattern[str], data: bytes) -> tuple[PackageChange, ...]:
    """Each package once, in the order of its last change; the newest 200."""
    changes: dict[str, PackageChange] = {}
    for change in _changes(line, data):
        earlier = changes.pop(change.package, None)
        changes[change.package] = _joined(earlier, change) if earlier else change
    return tuple(changes.values())[-_MOST_CHANGES:]


def _changes(line: re.Pattern[str], data: bytes) -> Iterator[PackageChange]:
    for text in data.decode("ascii", "replace").split("\n"):
        found = line.fullmatch(text) if len(text) <= _LONGEST_LINE else None
        if found:
            yield _change(found.groupdict())


def _change(said: dict[str, str | None]) -> PackageChange:
    action = _ACTION_OF[str(said["action"]).lower()]
    old, new, one = (said.get(name) or "" for name in ("old", "new", "one"))
    if action is Action.REMOVED:
        before, after = old or one, ""
    else:
        before, after = "" if action is Action.INSTALLED else old, new or one
    return PackageChange(action, str(said["package"]), before, after)


def _joined(first: PackageChange, then: PackageChange) -> PackageChange:
    """Two changes of one package as one. What was installed and removed again stays as removed, without a
    version before: nothing is left of it, but it was there meanwhile."""
    if then.action is Action.REMOVED:
        return replace(then, before=first.before)
    action = Action.INSTALLED if first.action is Action.INSTALLED else Action.UPDATED
    return PackageChange(action, then.package, first.before, then.after)
