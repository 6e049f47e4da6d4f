"""Digests of EFI programs, by which Secure Boot knows them: Authenticode's, PE/COFF 8.3 appendix A.

The headers but for their checksum and the certificate table's entry; each section as it lies in the file, in
the order of their places; what lies behind them up to the certificate table. Gaps between sections are in no
digest. A file whose length is no multiple of 8 is not padded: the reference firmware takes it as it is, and
signing tools add the padding to the file itself.
"""

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from . import FormatError
from .pe_sections import Section
from .reader import Source

_CHECKSUM_SIZE, _ENTRY_SIZE = 4, 8
_CHUNK = 1 << 20
ALGORITHMS = ("sha1", "sha256", "sha384", "sha512")


@dataclass(frozen=True, slots=True)
class Layout:
    """Offsets in the file that digests go by: the headers' end, the checksum, the certificate table's entry
    among the data directories (0 where it has none); and that table's offset and size, (0, 0) for none.
    ``fault`` says why there can be no digest."""

    headers_size: int = 0
    checksum_at: int = 0
    entry_at: int = 0
    certificates: tuple[int, int] = (0, 0)
    fault: str = "the optional header is missing"


def digest(source: Source, layout: Layout, sections: Sequence[Section], algorithm: str) -> bytes:
    """FormatError where firmware could make none: the headers contradict the file. OSError passes through."""
    _require_sound(source, layout, sections)
    found = hashlib.new(algorithm, usedforsecurity=False)
    buffer = memoryview(bytearray(min(_CHUNK, max(source.size, 1))))
    for start, end in _pieces(source, layout, sections):
        while start < end:
            part = buffer[: min(len(buffer), end - start)]
            done = source.read_into(start, part)
            if not done:
                raise FormatError(f"the file ends at byte {start}, before byte {end}")
            found.update(part[:done])
            start += done
    return found.digest()


def _require_sound(source: Source, layout: Layout, sections: Sequence[Section]) -> None:
    if layout.fault:
        raise FormatError(f"no digest: {layout.fault}")
    if not layout.checksum_at < layout.headers_size <= source.size:
        raise FormatError(f"no digest: headers of {layout.headers_size} bytes can't be")
    # Sections that overlap are in it as often as they are listed: bounded, or a small file takes for ever.
    if any(one.raw_end > source.size for one in sections) or _total(sections) > 2 * source.size:
        raise FormatError("no digest: its sections don't fit into the file")
    if sum(layout.certificates) > source.size:
        raise FormatError("no digest: the certificate table doesn't fit into the file")


def _total(sections: Sequence[Section]) -> int:
    return sum(one.raw_size for one in sections)


def _pieces(source: Source, layout: Layout, sections: Sequence[Section]) -> Iterator[tuple[int, int]]:
    """First byte and the one behind the last, of each run of bytes."""
    after = layout.checksum_at + _CHECKSUM_SIZE
    yield 0, layout.checksum_at
    if layout.entry_at:
        yield after, layout.entry_at
        after = layout.entry_at + _ENTRY_SIZE
    if after > layout.headers_size:
        raise FormatError(f"no digest: the headers end at byte {layout.headers_size}, in their own middle")
    yield after, layout.headers_size
    for one in sorted(sections, key=lambda section: section.raw_offset):
        yield one.raw_offset, one.raw_end
    hashed = layout.headers_size + _total(sections)
    behind = source.size - hashed
    if behind > 0:
        if behind < layout.certificates[1]:
            raise FormatError("no digest: sections and certificate table overlap")
        yield hashed, source.size - layout.certificates[1]
