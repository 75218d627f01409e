"""A certificate for the page's own TLS, made for one run and thrown away with it.

No authority has signed it, so the browser warns once; the fingerprint that the terminal prints is
what to compare.
"""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

from daq.clock import Clock

VALID_FOR: Final = timedelta(days=2)
"""Longer than a run; a browser that stored an exception forgets it soon."""


@dataclass(frozen=True, slots=True)
class Certificate:
    """Files for the server, and what to compare.

    Attributes
    ----------
    certificate, key
        PEM files; the key is readable by its owner only.
    fingerprint
        SHA-256 of the certificate in pairs of hex figures.
    """

    certificate: Path
    key: Path
    fingerprint: str


def make_certificate(folder: Path, address: str, clock: Clock) -> Certificate:
    """Make a key and a certificate for `address` (an IP address) in `folder`."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "trimbench page")])
    now = datetime.fromtimestamp(clock.utc_ns() // 1_000_000_000, tz=UTC)
    names = x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address(address))])
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + VALID_FOR)
        .add_extension(names, critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    files = Certificate(
        certificate=folder / "page.crt",
        key=folder / "page.key",
        fingerprint=made.fingerprint(hashes.SHA256()).hex(":").upper(),
    )
    files.certificate.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    files.key.touch(mode=0o600)
    files.key.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    return files
