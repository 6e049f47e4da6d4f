"""Words of a loader's settings: what parts them, what they stand for, which of them name a file system."""

from __future__ import annotations

import re

from bootwatch.judge.menu import OWN, UNKNOWN, By, Where

LONGEST_LINE = 4096
_MOST_WORDS = 200
_LONGEST_WORD = 1024
# What stands for a value that isn't known before the start.
UNKNOWN_VALUE = "\0"
LABEL, FILE = "label:", "file:"

_WORD = re.compile(r"""(?:'[^']*'|"[^"]*"|[^\s'"])+""")
_VARIABLE = re.compile(r"\$\{(\w+)\}|\$(\w+)|\$")
_PARTS = re.compile(r"[\s=(),:;\[\]{}]+")
_UUID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.IGNORECASE)
# A FAT serial, an NTFS serial, a partition of an MBR, a UUID without its dashes.
_SHORT = re.compile(
    r"[0-9a-f]{4}-[0-9a-f]{4}|[0-9a-f]{16}|[0-9a-f]{8}-[0-9a-f]{2}|[0-9a-f]{32}", re.IGNORECASE
)
# "(hd0,gpt1)/a", "uuid(1A2B-3C4D):/a", "boot():/a", "fs0:\a", "/a"
_PATH = re.compile(r"(?P<device>\(+[^()]*\)+|[A-Za-z][\w.-]*(?:\([^()]*\))?:)?(?P<path>[\\/].+)", re.DOTALL)
_FUNCTION = re.compile(r"([A-Za-z][\w.-]*)\(([^()]*)\):")
_REFUSED = re.compile(r"[*?<>|\x00-\x1f]|[\\/]\Z|:[\\/]{2}")
# In a kernel's options: "root=UUID=...", "rd.luks.uuid=luks-...", "cryptdevice=UUID=...:name".
_ROOT_OPTION = re.compile(r"root|[\w.]*(?:luks|crypt)[\w.]*")
_BY_NAME = re.compile(r"(?:PART)?UUID=|/dev/disk/by-(?:part)?uuid/", re.IGNORECASE)
_BY_LABEL = re.compile(r"(?:(?:PART)?LABEL=|/dev/disk/by-(?:part)?label/)(.+)", re.IGNORECASE)


def words_of(line: str) -> list[str]:
    """The words of a line, as a shell would part them but for backslashes, which stand for themselves."""
    found: list[str] = []
    for match in _WORD.finditer(line[:LONGEST_LINE]):
        found.append(match[0].replace("'", "").replace('"', "")[:_LONGEST_WORD])
        if len(found) == _MOST_WORDS:
            break
    return found


def expand(word: str, values: dict[str, str]) -> str:
    """The word with the values of the variables in it."""
    if "$" not in word:
        return word
    whole = _VARIABLE.sub(lambda match: values.get(match[1] or match[2] or "", UNKNOWN_VALUE), word)
    return whole[:_LONGEST_WORD]


def names_in(word: str, *, short: bool = False) -> list[str]:
    """UUIDs among the parts of a word; with ``short`` also serial numbers, where file systems are meant."""
    parts = _PARTS.split(word)
    return [part for part in parts if _UUID.fullmatch(part) or (short and _SHORT.fullmatch(part))]


def comparable(name: str) -> str:
    """A UUID or serial number as it is compared: tools spell it with dashes and without, in either case."""
    return name.casefold().replace("-", "").replace(":", "").removeprefix("0x")


def path_in(word: str, current: Where) -> tuple[str, Where] | None:
    """An absolute path and the file system that it is on: ``current`` unless the word says another."""
    match = _PATH.fullmatch(word)
    if not match or _REFUSED.search(match["path"]):
        return None
    device = match["device"] or ""
    if device.endswith(":") and match["path"][1] in "\\/":
        return None  # an address on a network
    return backslashed(match["path"]), _where(device, current) if device else current


def relative_in(word: str) -> str | None:
    """A path that is relative to the settings' own folder, as far as can be told."""
    text = word.removeprefix(UNKNOWN_VALUE).lstrip("\\/") if word.startswith(UNKNOWN_VALUE) else word
    if not text or text[0] in "-($=" or "=" in text or ":" in text or _REFUSED.search(text):
        return None
    return text.replace("/", "\\")


def backslashed(path: str) -> str:
    """With single backslashes, a leading one, and "." and ".." worked out."""
    found: list[str] = []
    for name in re.split(r"[\\/]+", path):
        if name == "..":
            found = found[:-1]
        elif name not in ("", "."):
            found.append(name)
    return "\\" + "\\".join(found)


def _where(device: str, current: Where) -> Where:
    text = device.strip("()") if device.startswith("(") else device
    names = names_in(text, short=True)
    if names:
        return Where(By.NAME, tuple(names))
    if text.startswith((LABEL, FILE)):
        kind = By.NAME if text.startswith(LABEL) else By.FILE
        return Where(kind, (text if kind is By.NAME else text.removeprefix(FILE),))
    if text.strip(UNKNOWN_VALUE) == "":
        return current
    function = _FUNCTION.fullmatch(text)
    if function and "label" in function[1].lower():
        return Where(By.NAME, (LABEL + function[2],))
    return OWN if function and not function[2] else UNKNOWN


def roots_in(words: list[str]) -> list[str]:
    """File systems that a kernel's options name as what it can't do without."""
    found: list[str] = []
    for word in words:
        option, _, value = word.partition("=")
        if not value or not _ROOT_OPTION.fullmatch(option.lower()):
            continue
        label = _BY_LABEL.fullmatch(value)
        if label:
            found.append(LABEL + label[1])
        else:
            found += names_in(
                _BY_NAME.sub("", value).removeprefix("luks-"), short=bool(_BY_NAME.match(value))
            )
    return found
