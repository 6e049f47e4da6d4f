"""Names on FAT volumes: 8.3 names, long names, and when two names are the same.

8.3 names (FAT specification 1.03, "Directory Structure", DIR_Name) are eleven bytes: base, then extension,
padded with blanks. They are decoded by code page 437, the one that Linux assumes unless told otherwise, so
that a volume reads the same with and without mounting it. The two flag bits that mean "base" or "extension in
lower case" are honoured, as Linux and mtools do. Long names are UTF-16, at most 255 units.
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
# What would let a name look like a path.
_SAFE = dict.fromkeys(map(ord, "\\/\0"), "\N{REPLACEMENT CHARACTER}")
_LONGEST = 255
_ROTATED = bytes((total & 1) << 7 | total >> 1 for total in range(256))


def fold(name: str) -> str:
    """Two names or paths are the same when this is equal: ASCII and Latin-1 letters in upper case.

    >>> fold("\\\\efi\\\\Boot\\\\é.efi")
    '\\\\EFI\\\\BOOT\\\\É.EFI'
    """
    return name.upper() if name.isascii() else name.translate(_UPPER)


def checksum(short: bytes) -> int:
    """The sum over an 8.3 name's eleven bytes that ties long name parts to it.

    >>> hex(checksum(b"LOADER~1EFI"))
    '0xad'
    """
    total = 0
    for byte in short:
        total = _ROTATED[total] + byte & 0xFF
    return total


def first_byte(rest: bytes, total: int) -> int:
    """The first byte of an 8.3 name of which only the other ten bytes and the checksum are left.

    >>> chr(first_byte(b"OADER~1EFI", 0xAD))
    'L'
    """
    for byte in reversed(rest):
        total = total - byte & 0xFF
        total = (total << 1 | total >> 7) & 0xFF
    return total


def short_name(short: bytes, flags: int) -> str:
    """Spell an 8.3 name of eleven stored bytes; `flags` is the entry's byte 12. "" if it is all blank.

    >>> short_name(b"LOADER  EFI", LOWER_EXTENSION)
    'LOADER.efi'
    """
    if short[0] == 0x05:
        short = b"\xe5" + short[1:]
    name = short.decode("ascii" if short.isascii() else CODE_PAGE)
    if "\\" in name or "/" in name or "\0" in name:
        name = name.translate(_SAFE)
    base, extension = name[:8].rstrip(" "), name[8:].rstrip(" ")
    if flags:
        base = base.translate(_LOWER) if flags & LOWER_BASE else base
        extension = extension.translate(_LOWER) if flags & LOWER_EXTENSION else extension
    return f"{base}.{extension}" if extension else base


def long_name(stored: bytes) -> str | None:
    """Spell a long name of UTF-16 characters, ended by a NUL or the last part's end; None if it is none. Half
    a surrogate pair becomes U+FFFD.
    """
    name = stored.decode("utf-16-le", "replace").split("\0", 1)[0]
    if not name or name in (".", "..") or "\\" in name or "/" in name:
        return None
    if len(name) > _LONGEST // 2 and len(name.encode("utf-16-le")) > 2 * _LONGEST:
        return None
    return name


def label(stored: bytes) -> str:
    """Spell a volume label of eleven stored bytes."""
    if stored[:1] == b"\x05":
        stored = b"\xe5" + stored[1:]
    return stored.rstrip(b" \0").decode(CODE_PAGE)
