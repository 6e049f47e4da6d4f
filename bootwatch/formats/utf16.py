"""UTF-16 text as firmware and FAT store it: little-endian, ended by a NUL or by the field's end."""


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
    while at >= 0 and (at - start) % 2:
        at = data.find(b"\0\0", at + 1)
    return at
