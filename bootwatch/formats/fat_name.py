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
_FORBIDDEN = "\\/\0"
_LONGEST = 255


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
    name = short.decode("ascii" if short.isascii() else CODE_PAGE)
    base, extension = name[:8].rstrip(" "), name[8:].rstrip(" ")
    if flags & LOWER_BASE:
        base = base.translate(_LOWER)
    if flags & LOWER_EXTENSION:
        extension = extension.translate(_LOWER)
    return _safe(base + "." + extension if extension else base)


def long_name(stored: bytes) -> str | None:
    """Spell a long name of UTF-16 characters, ended by a NUL or the last part's end; None if it is none."""
    name = stored.decode("utf-16-le", "replace").split("\0", 1)[0]
    if not name or name in (".", "..") or len(name) > _LONGEST or _safe(name) != name:
        return None
    return name


def _safe(name: str) -> str:
    """Without the characters that would let a name look like a path."""
    for char in _FORBIDDEN:
        if char in name:
            name = name.replace(char, "\N{REPLACEMENT CHARACTER}")
    return name
