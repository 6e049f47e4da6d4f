"""A database of Secure Boot, db or dbx, as it is looked things up in: UEFI 2.10 §32.4 and §32.6."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field

from bootwatch.formats import FormatError, signature_list
from bootwatch.formats.signature_list import X509, SignatureLists
from bootwatch.formats.x509 import Certificate

_HEAD, _OWNER = 28, 16
_TBS = "X509_"
_DER = b"\x30"


@dataclass(frozen=True)
class Database:
    """``digests`` of programs with their algorithm, ``revoked`` digests of certificates with theirs and since
    when (bytes of an EFI_TIME). ``is_there``: whether the variable exists at all. ``is_whole``: whether all
    that it holds could be read; else what isn't found in it may be there all the same."""

    digests: frozenset[tuple[str, bytes]] = frozenset()
    certificates: tuple[Certificate, ...] = ()
    revoked: dict[tuple[str, bytes], bytes] = field(default_factory=dict)
    is_there: bool = False
    is_whole: bool = True

    @classmethod
    def parse(cls, data: bytes) -> Database:
        """Of a variable's value; damage leaves it less than whole."""
        try:
            return cls.of(signature_list.parse(data))
        except FormatError:
            return cls(is_there=True, is_whole=False)

    @classmethod
    def of(cls, lists: SignatureLists) -> Database:
        digests: set[tuple[str, bytes]] = set()
        revoked: dict[tuple[str, bytes], bytes] = {}
        certificates: list[Certificate] = []
        is_whole = _is_accounted(lists)
        for listed in lists:
            name = listed.type_name or ""
            algorithm = name.removeprefix(_TBS).lower()
            for signature in listed.signatures:
                if listed.type == X509:
                    found = _certificate(signature.data)
                    certificates += found
                    # Text where a certificate belongs vouches for nothing: firmware doesn't understand it.
                    is_whole &= bool(found) or not signature.data.startswith(_DER)
                elif name.startswith(_TBS):
                    size = hashlib.new(algorithm).digest_size if algorithm.startswith("sha") else 0
                    revoked[algorithm, signature.data[:size]] = signature.data[size:]
                else:
                    digests.add((algorithm, signature.data))
        return cls(frozenset(digests), tuple(certificates), revoked, True, is_whole)

    def since(self, certificate: Certificate) -> bytes | None:
        """Since when a certificate is revoked by its digest; None where it isn't."""
        for algorithm in {one for one, _ in self.revoked}:
            if algorithm in hashlib.algorithms_guaranteed:
                own = hashlib.new(algorithm, certificate.signed).digest()
                if (algorithm, own) in self.revoked:
                    return self.revoked[algorithm, own]
        return None


def _certificate(data: bytes) -> list[Certificate]:
    try:
        return [Certificate.parse(data)]
    except FormatError:
        return []


def _is_accounted(lists: SignatureLists) -> bool:
    """Whether every byte of the database belongs to some signature."""
    if lists.raw.startswith(_DER):  # a certificate by itself
        return True
    used = sum(
        _HEAD + len(one.header) + sum(_OWNER + len(signature.data) for signature in one.signatures)
        for one in lists
    )
    return used == len(lists.raw)


EMPTY = Database()
