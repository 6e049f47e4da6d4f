"""What the optional data of a load option (UEFI 2.10 §3.1.3) looks like, in a few words.

The standard leaves these bytes to the program that gets started: nothing says what they are. Text and the
GUIDs that the standard or the reference firmware (edk2) defines can be told; anything else stays bytes.
"""

from . import guid

# A text in another script than this is likelier to be other bytes that happen to decode.
_LATIN = "\u024f"
_WHITE = str.maketrans("\t\r\n", "   ")
_GUIDS = {
    "8108ac4e-9f11-4d59-850e-e21a522c59b2": "the firmware made this option by itself, for a device it found",
    "8be4df61-93ca-11d2-aa0d-00e098032b8c": "the namespace of the standard's own variables",
    "d719b2cb-3d3a-4596-a3bc-dad00e67656f": "the namespace of the image security databases",
    "c12a7328-f81f-11d2-ba4b-00a0c93ec93b": "the type of an EFI system partition",
    "7c04a583-9e3e-4f1c-ad65-e05268d0b4d1": "the firmware's built-in shell",
    "462caa21-7614-4503-836e-8ab6f4662331": "the firmware's set-up program",
    "eec25bdc-67f2-4d95-b1d5-f81b2039d11d": "the firmware's boot menu",
}


def describe(data: bytes) -> str | None:
    """A short description of text or a known GUID; None where there is nothing to say.

    >>> describe(b"quiet splash\\0")
    'text: quiet splash'
    >>> describe("root=1".encode("utf-16-le"))
    'UTF-16 text: root=1'
    >>> describe(guid.to_bytes("c12a7328-f81f-11d2-ba4b-00a0c93ec93b"))
    'GUID c12a7328-f81f-11d2-ba4b-00a0c93ec93b: the type of an EFI system partition'
    >>> describe(bytes([1, 2, 3])) is None
    True
    """
    return _guid(data) or _text(data, "ascii", "text") or _text(data, "utf-16-le", "UTF-16 text")


def _guid(data: bytes) -> str | None:
    if len(data) < guid.SIZE:
        return None
    text = guid.from_bytes(data[: guid.SIZE])
    meaning = _GUIDS.get(text)
    more = len(data) - guid.SIZE
    behind = f", and {more} byte{'s' if more > 1 else ''} behind it" if more else ""
    return f"GUID {text}: {meaning}{behind}" if meaning else None


def _text(data: bytes, encoding: str, name: str) -> str | None:
    """Printable text with, at most, NULs and white space around it."""
    try:
        text = data.decode(encoding).rstrip("\0").removeprefix("\ufeff").translate(_WHITE).strip()
    except UnicodeDecodeError:
        return None
    if len(text) < 2 or not text.isprintable():
        return None
    if sum(character <= _LATIN for character in text) * 2 < len(text):
        return None
    return f"{name}: {text}"
