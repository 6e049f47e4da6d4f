"""DER, as far as certificates and signatures need it: ITU-T X.690 §8 and §10.

An element: tag (one byte: numbers above 30 don't occur there), length, content. Strict: lengths are definite
and as short as can be, so the same value has one spelling only. Nothing is read twice, so what is damaged
costs no more than its bytes.
"""

from __future__ import annotations

from dataclasses import dataclass

from . import FormatError

INTEGER, BIT_STRING, OCTETS, OID, SEQUENCE, SET = 0x02, 0x03, 0x04, 0x06, 0x30, 0x31
BOOLEAN = 0x01
CONTEXT, CONSTRUCTED = 0x80, 0x20
_LONG, _HIGH_TAG = 0x80, 0x1F
_MOST_LENGTH_BYTES = 4
_MOST_ELEMENTS = 4096


@dataclass(frozen=True, slots=True)
class Element:
    """One element: its tag, its content, and the whole of it."""

    tag: int
    content: bytes
    raw: bytes

    def children(self) -> list[Element]:
        """Those that a constructed one is made of. FormatError for another one, and for damage."""
        if not self.tag & CONSTRUCTED:
            raise FormatError(f"DER: an element of tag {self.tag:#04x} has no parts")
        return elements(self.content)

    def expect(self, tag: int) -> Element:
        """Itself; FormatError where it has another tag."""
        if self.tag != tag:
            raise FormatError(f"DER: tag {self.tag:#04x} where {tag:#04x} belongs")
        return self

    @property
    def oid(self) -> str:
        """An object identifier in dotted form. FormatError where it is none."""
        return dotted(self.expect(OID).content)


def single(data: bytes) -> Element:
    """The one element that the bytes are. FormatError for anything else.

    >>> single(bytes.fromhex("0603551d13")).oid
    '2.5.29.19'
    """
    found, end = _at(data, 0)
    if end != len(data):
        raise FormatError(f"DER: {len(data) - end} bytes behind the end")
    return found


def leading(data: bytes) -> Element:
    """The first element, whatever follows it. FormatError where there is none."""
    return _at(data, 0)[0]


def elements(data: bytes) -> list[Element]:
    """Those that follow each other in the bytes. FormatError for damage, and for more than is sound."""
    found: list[Element] = []
    at = 0
    while at < len(data):
        if len(found) == _MOST_ELEMENTS:
            raise FormatError(f"DER: more than {_MOST_ELEMENTS} elements in one")
        one, at = _at(data, at)
        found.append(one)
    return found


def _at(data: bytes, at: int) -> tuple[Element, int]:
    head = data[at : at + 2]
    if len(head) < 2 or head[0] & _HIGH_TAG == _HIGH_TAG:
        raise FormatError(f"DER: no element at byte {at}")
    start, length = at + 2, head[1]
    if length >= _LONG:
        count = length - _LONG
        spelled = data[start : start + count]
        length = int.from_bytes(spelled)
        is_shortest = length >= _LONG and spelled[:1] != b"\0"
        if not 0 < count <= _MOST_LENGTH_BYTES or len(spelled) < count or not is_shortest:
            raise FormatError(f"DER: the length at byte {at + 1} is none")
        start += count
    end = start + length
    if end > len(data):
        raise FormatError(f"DER: the element at byte {at} is longer than what is left")
    return Element(head[0], data[start:end], data[at:end]), end


def dotted(content: bytes) -> str:
    """The dotted form of an object identifier's content. FormatError where it is none."""
    if not content or content[-1] & 0x80 or len(content) > 64:
        raise FormatError("DER: no object identifier")
    numbers, value = [], 0
    for byte in content:
        value = value << 7 | byte & 0x7F
        if not byte & 0x80:
            numbers.append(value)
            value = 0
    first = min(numbers[0] // 40, 2)
    return ".".join(map(str, (first, numbers[0] - 40 * first, *numbers[1:])))
