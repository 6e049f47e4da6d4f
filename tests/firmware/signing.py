"""Programs signed for Secure Boot by sbsign, the certificates for it, and databases that virt-firmware makes.

Keys and certificates are made anew for each run, by the library `cryptography`; nothing of ours is in it.
"""

import datetime
import hashlib
import tempfile
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509.oid import NameOID
from virt.firmware.efi import guids, siglist

from tests.firmware import tool

OWNER = "5e3d4a10-0000-4000-8000-000000000001"
NOW = (datetime.datetime(2020, 1, 1), datetime.datetime(2049, 1, 1))
PAST = (datetime.datetime(2010, 1, 1), datetime.datetime(2015, 1, 1))


@dataclass(frozen=True, eq=False)
class Owner:
    """A key and its certificate, by ``issuer`` or by itself."""

    name: str
    issuer: "Owner | None" = None
    is_authority: bool = True
    dates: tuple[datetime.datetime, datetime.datetime] = NOW

    @cached_property
    def key(self) -> rsa.RSAPrivateKey:
        return rsa.generate_private_key(public_exponent=65537, key_size=2048)

    @cached_property
    def certificate(self) -> x509.Certificate:
        signer = self.issuer or self
        builder = x509.CertificateBuilder(
            subject_name=_named(self.name),
            issuer_name=_named(signer.name),
            public_key=self.key.public_key(),
            serial_number=x509.random_serial_number(),
            not_valid_before=self.dates[0],
            not_valid_after=self.dates[1],
        ).add_extension(x509.BasicConstraints(ca=self.is_authority, path_length=None), critical=True)
        return builder.sign(signer.key, hashes.SHA256())

    @property
    def der(self) -> bytes:
        return self.certificate.public_bytes(Encoding.DER)

    @property
    def pem(self) -> bytes:
        return self.certificate.public_bytes(Encoding.PEM)


def _named(name: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])


def signed(program: bytes, owner: Owner, *chain: Owner) -> bytes:
    """The program with one more signature, and certificates that come with it beside the signer's own."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "in.efi").write_bytes(program)
        secret = owner.key.private_bytes(Encoding.PEM, PrivateFormat.TraditionalOpenSSL, NoEncryption())
        (folder / "key.pem").write_bytes(secret)
        (folder / "own.pem").write_bytes(owner.pem)
        (folder / "more.pem").write_bytes(b"".join(one.pem for one in chain))
        more: list[str | Path] = ["--addcert", folder / "more.pem"] if chain else []
        command: list[str | Path] = ["sbsign", "--key", folder / "key.pem", "--cert", folder / "own.pem"]
        tool.run([*command, *more, "--output", folder / "out.efi", folder / "in.efi"])
        return (folder / "out.efi").read_bytes()


def certificates(*owners: Owner | bytes) -> bytes:
    """Signature lists of certificates, or of other bytes under their type."""
    return b"".join(_list(guids.EfiCertX509, one.der if isinstance(one, Owner) else one) for one in owners)


def digests(*values: bytes) -> bytes:
    """A signature list of SHA-256 digests of programs."""
    return _list(guids.EfiCertSha256, *values)


def revoked(*owners: Owner) -> bytes:
    """A signature list of SHA-256 digests of what their issuers signed, revoked for ever (UEFI 2.10 §32.4.1,
    EFI_CERT_X509_SHA256)."""
    tbs = (hashlib.sha256(one.certificate.tbs_certificate_bytes).digest() for one in owners)
    return _list("3bd2a492-96c0-4079-b420-fcf98ef103ed", *(digest + bytes(16) for digest in tbs))


def _list(kind: str, *values: bytes) -> bytes:
    found = siglist.EfiSigList(guid=guids.parse_str(kind))
    for one in values:
        found.add_sig(guids.parse_str(OWNER), one)
    return bytes(found)
