"""Names on FAT volumes: 8.3 names, long names, and when two names are the same.

8.3 names are decoded by code page 437, the one that Linux assumes unless told otherwise, so that a volume
reads the same with and without mounting it. The two flag bits that mean "base" or "extension in lower case"
are honoured, as Linux and mtools do.
"""

CODE_PAGE = "cp437"
LOWER_BASE = 0x08
LOWER_EXTENSION = 0x10
_UPPER = {code: code - 0x20 for code in (*range(0x61, 0x7B), *range(0xE0, 0xF7), *range(0xF8, 0xFF))}
# As Linux lowers a byte: only to a letter that the code page has.
_LOWER = {
    ord(upper): upper.lower()
    for upper in bytes(range(0x41, 0x100)).decode(CODE_PAGE)
    if len(upper.lower()) == 1 and upper.lower().encode(CODE_PAGE, "ignore")
}
_FORBIDDEN = frozenset("\\/\0")
_SAFE = {ord(char): "\N{REPLACEMENT CHARACTER}" for char in _FORBIDDEN}


def fold(name: str) -> str:
    """Two names or paths are the same when this is equal: ASCII and Latin-1 letters in upper case.

    >>> fold("\\\\efi\\\\Boot\\\\é.efi")
    '\\\\EFI\\\\BOOT\\\\É.EFI'
    """
    return name.translate(_UPPER)


def checksum(short: bytes) -> int:
    """The sum over an 8.3 name's eleven bytes that ties long name parts to it."""
    total = 0
    for byte in short:
        total = ((total & 1) << 7) + (total >> 1) + byte & 0xFF
    return total


def short_name(short: bytes, flags: int) -> str:
    """Spell an 8.3 name of eleven stored bytes; `flags` is the entry's byte 12."""
    if short[0] == 0x05:
        short = b"\xe5" + short[1:]
    base = short[:8].rstrip(b" ").decode(CODE_PAGE)
    extension = short[8:11].rstrip(b" ").decode(CODE_PAGE)
    if flags & LOWER_BASE:
        base = base.translate(_LOWER)
    if flags & LOWER_EXTENSION:
        extension = extension.translate(_LOWER)
    return (base + "." + extension if extension else base).translate(_SAFE)


def long_name(stored: bytes) -> str | None:
    """Spell a long name of UTF-16 characters, ended by a NUL or the last part's end; None if it is none."""
    for at in range(0, len(stored), 2):
        if stored[at : at + 2] == b"\0\0":
            stored = stored[:at]
            break
    name = stored.decode("utf-16-le", "replace")
    if not name or name in (".", "..") or len(stored) > 255 * 2 or not _FORBIDDEN.isdisjoint(name):
        return None
    return name
