"""Certificates for tests, made by pyca/cryptography: an authority of the boatyard, and what it signs."""

from __future__ import annotations

import ipaddress
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

__all__ = ["Authority"]

_PEM = serialization.Encoding.PEM


class Authority:
    """A certificate authority whose own certificate is in `path`."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._key = ec.generate_private_key(ec.SECP256R1())
        self._name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Fennel Quay test authority")])
        self._certificate = (
            self._begin(self._name, self._key, days=(-1, 30))
            .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
            .add_extension(
                x509.KeyUsage(
                    digital_signature=False, content_commitment=False, key_encipherment=False, data_encipherment=False,
                    key_agreement=False, key_cert_sign=True, crl_sign=True, encipher_only=False, decipher_only=False,
                ),
                critical=True,
            )
            .sign(self._key, hashes.SHA256())
        )  # fmt: skip
        self.path = folder / "authority.pem"
        self.path.write_bytes(self._certificate.public_bytes(_PEM))

    def issue(self, name: str, *hosts: str, days: tuple[int, int] = (-1, 30)) -> tuple[Path, Path]:
        """A server's certificate and key for these names and addresses, valid in these days from now."""
        key = ec.generate_private_key(ec.SECP256R1())
        subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
        certificate = (
            self._begin(subject, key, days)
            .add_extension(x509.SubjectAlternativeName([_general(host) for host in hosts]), critical=False)
            .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
            .sign(self._key, hashes.SHA256())
        )
        paths = self._folder / f"{name}.crt", self._folder / f"{name}.key"
        paths[0].write_bytes(certificate.public_bytes(_PEM))
        paths[1].write_bytes(key.private_bytes(_PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()))
        paths[1].chmod(0o600)
        return paths

    def _begin(
        self, subject: x509.Name, key: ec.EllipticCurvePrivateKey, days: tuple[int, int]
    ) -> x509.CertificateBuilder:
        now = datetime.now(UTC)
        identifier = x509.SubjectKeyIdentifier.from_public_key(key.public_key())
        ours = x509.AuthorityKeyIdentifier.from_issuer_public_key(self._key.public_key())
        return (
            x509.CertificateBuilder()
            .subject_name(subject)
            .issuer_name(self._name)
            .public_key(key.public_key())
            .serial_number(x509.random_serial_number())
            .not_valid_before(now + timedelta(days=days[0]))
            .not_valid_after(now + timedelta(days=days[1]))
            .add_extension(identifier, critical=False)
            .add_extension(ours, critical=False)
        )


def _general(host: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(host))
    except ValueError:
        return x509.DNSName(host)
