"""UTF-16 text as firmware and FAT store it: little-endian, ended by a NUL or by the field's end."""

from array import array


def until_nul(data: bytes) -> str:
    """Decode up to the first NUL or the end; unpaired surrogates and an odd last byte become U+FFFD.

    >>> until_nul(b"E\\0F\\0I\\0\\0\\0x\\0")
    'EFI'
    """
    end = nul_at(data)
    return data[: len(data) if end < 0 else end].decode("utf-16-le", "replace")


def nul_at(data: bytes, start: int = 0) -> int:
    """Offset of the first NUL character at or after `start`, counted in whole characters; -1 if there is
    none.
    """
    at = data.find(b"\0\0", start)
    if at < 0 or (at - start) % 2 == 0:
        return at
    # Astride two characters, and perhaps many more such pairs follow: look at whole characters from here on.
    at += 1
    characters = array("H", data[at : len(data) - (len(data) - at) % 2])
    try:
        return at + 2 * characters.index(0)
    except ValueError:
        return -1
