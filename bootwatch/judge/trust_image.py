"""One program held against what Secure Boot takes and what it refuses, step by step as the reference firmware
does it (edk2's DxeImageVerificationLib)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from bootwatch.formats import FormatError
from bootwatch.formats.der import dotted
from bootwatch.formats.pe import Image
from bootwatch.formats.signed_data import DIGESTS, SignedData
from bootwatch.formats.x509 import Certificate
from bootwatch.judge.trust_chain import can_verify, signed_by
from bootwatch.judge.trust_keys import Database

# Where the reference firmware looks for the digest's algorithm: behind lengths of two bytes each.
_TWO_BYTES, _ALGORITHM_AT = 0x82, 30
_OID_TAG = 0x06
_TIME_SIZE = 7
_UNREAD = "not all that {which} holds could be read"
_LIBRARY = "its signature can't be checked without the Python library cryptography"
_NOT_HERE = "whether {which} vouches for its signature can't be checked here"


@dataclass(frozen=True)
class Look:
    """``revoked`` says what refuses it whatever else holds, ``doubt`` why that can't be told; "" for neither.
    ``is_taken`` None: that can't be told, and ``why`` says why; else why it isn't. All are clauses."""

    revoked: str = ""
    doubt: str = ""
    is_taken: bool | None = False
    why: str = ""


@dataclass(frozen=True)
class Lists:
    """Databases that are asked, each by its name; ``has_times``: certificates may be revoked since a time,
    which only signed times could tell."""

    takes: Sequence[tuple[str, Database]]
    refuses: Sequence[tuple[str, Database]]
    has_times: bool = False


def look_at(image: Image, lists: Lists) -> Look:
    """Raises FormatError for a program that no firmware could take a digest of."""
    if not image.is_signed:
        return _Looking(lists).unsigned(image.authenticode_sha256)
    table = image.signatures
    if table.problems:
        return Look(revoked=f"its certificate table is damaged: {table.problems[0]}")
    looks = []
    for entry in table:
        algorithm = _algorithm(entry.pkcs7 or b"")
        if algorithm:
            found = _Looking(lists).signed(entry.pkcs7 or b"", algorithm, image.authenticode(algorithm))
            looks.append(found)
    return _together(looks)


def _algorithm(signed: bytes) -> str:
    """Hashlib's name; "" for one that the firmware doesn't see or know: it passes over that signature."""
    at = _ALGORITHM_AT
    if len(signed) < at + 2 or signed[1] & _TWO_BYTES != _TWO_BYTES or signed[at] != _OID_TAG:
        return ""
    try:
        return DIGESTS.get(dotted(signed[at + 2 : at + 2 + signed[at + 1]]), "")
    except FormatError:
        return ""


def _together(looks: Sequence[Look]) -> Look:
    """One signature that is revoked refuses the program, else one that is taken lets it run."""
    if not looks:
        return Look(why="it has no signature of a kind that the firmware knows")
    revoked = next((one.revoked for one in looks if one.revoked), "")
    doubt = next((one.doubt for one in looks if one.doubt), "")
    best = next((one for one in looks if one.is_taken), None)
    best = best or next((one for one in looks if one.is_taken is None), looks[0])
    return Look(revoked, doubt, best.is_taken, best.why)


@dataclass(frozen=True)
class _Looking:
    lists: Lists

    def unsigned(self, digest: bytes) -> Look:
        revoked, doubt = self._refused_digest("sha256", digest)
        taken = self._taken_digest("sha256", digest)
        why = "it is not signed, and db doesn't hold its digest"
        if taken is None:
            why = _UNREAD.format(which="db")
        return Look(revoked, doubt, taken, why)

    def signed(self, data: bytes, algorithm: str, digest: bytes) -> Look:
        revoked, doubt = self._refused_digest(algorithm, digest)
        taken = self._taken_digest(algorithm, digest)
        try:
            signed = SignedData.parse(data)
        except FormatError as error:
            return Look(revoked, doubt or f"its signature can't be read ({error})", taken)
        if not revoked:
            revoked, unsure = self._revoked(signed, digest)
            doubt = doubt or unsure
        why = f"no certificate in db vouches for its signature{_by(signed)}"
        if not taken:
            vouched, unsure = self._vouched(signed, digest)
            taken, why = (vouched, unsure or why) if vouched is not False else (taken, why)
        if taken is None and why.startswith("no "):
            why = _UNREAD.format(which="db")
        return Look(revoked, doubt, taken, why)

    def _refused_digest(self, algorithm: str, digest: bytes) -> tuple[str, str]:
        """Why it is refused by its digest, and why that can't be told."""
        doubt = ""
        for name, database in self.lists.refuses:
            if (algorithm, digest) in database.digests:
                return f"{name} holds its digest", ""
            if not database.is_whole:
                doubt = _UNREAD.format(which=name)
        return "", doubt

    def _taken_digest(self, algorithm: str, digest: bytes) -> bool | None:
        if any((algorithm, digest) in database.digests for _, database in self.lists.takes):
            return True
        return False if all(database.is_whole for _, database in self.lists.takes) else None

    def _revoked(self, signed: SignedData, digest: bytes) -> tuple[str, str]:
        """The same by its certificates."""
        doubt = ""
        for name, database in self.lists.refuses:
            if not database.is_there:
                continue
            for one in database.certificates:
                found = signed_by(signed, one, digest)
                if found:
                    return f'{name} revokes the certificate "{one.name}", which its signature leads to', ""
                if found is None:
                    doubt = doubt or self._unsure(name)
            why, unsure = self._revoked_signer(name, database, signed)
            if why:
                return why, ""
            doubt = doubt or unsure
        return "", doubt

    def _revoked_signer(self, name: str, database: Database, signed: SignedData) -> tuple[str, str]:
        owners = [signed.certificate_of(signer) for signer in signed.signers]
        if not owners or None in owners:
            return "its signer's certificate doesn't come with the signature", ""
        for one in filter(None, owners):
            since = database.since(one)
            if since is not None:
                return self._since(f'{name} revokes the certificate "{one.name}", which signed it', since)
        return "", ""

    def _since(self, why: str, since: bytes) -> tuple[str, str]:
        """A revocation without a time always holds; else only where no signed times are known."""
        if self.lists.has_times and any(since[:_TIME_SIZE]):
            return "", "whether it was signed before its certificate was revoked is not looked at"
        return why, ""

    def _vouched(self, signed: SignedData, digest: bytes) -> tuple[bool | None, str]:
        """Whether some certificate that is taken vouches for it, and why that can't be told."""
        best: bool | None = False
        why = ""
        for name, database in self.lists.takes:
            for one in database.certificates:
                found = signed_by(signed, one, digest)
                refused, unsure = self._since_of(one) if found else ("", "")
                if found and not refused and not unsure:
                    return True, ""
                if found is None or unsure:
                    best, why = None, unsure or self._unsure(name)
        return best, why

    def _since_of(self, one: Certificate) -> tuple[str, str]:
        """Of a certificate that vouches: why it is revoked by its own digest, and why that can't be told."""
        for name, database in self.lists.refuses:
            since = database.since(one)
            if since is not None:
                return self._since(f"{name} revokes what vouches for it", since)
        return "", ""

    def _unsure(self, which: str) -> str:
        return _NOT_HERE.format(which=which) if can_verify() else _LIBRARY


def _by(signed: SignedData) -> str:
    owners = [signed.certificate_of(signer) for signer in signed.signers]
    names = [f'"{one.name}"' for one in owners if one]
    return f", made by {names[0]}" if names else ""
