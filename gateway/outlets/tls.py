"""TLS for every way out: certificates and names always verified, TLS 1.2 or newer (RFC 8446, 9325).

A certificate that is not valid *yet* usually means that this machine's clock is slow (no battery-backed clock), and
is said so.
"""

from __future__ import annotations

import ssl
from pathlib import Path

from gateway.errors import SettingsFault

__all__ = ["certificate_problem", "client_context"]

_NO_TLS = ("WRONG_VERSION_NUMBER", "RECORD_LAYER_FAILURE", "PACKET_LENGTH_TOO_LONG")  # OpenSSL's names
_NOT_YET_VALID = 9  # X509_V_ERR_CERT_NOT_YET_VALID, openssl-verification-options(1)


def client_context(ca_file: Path | None) -> ssl.SSLContext:
    """Trusts the system's authorities, or those of `ca_file` instead. Raises SettingsFault."""
    try:
        context = ssl.create_default_context(cafile=ca_file)
    except OSError as fault:
        raise SettingsFault(
            f"{ca_file} can't be read as certificates.", remedy="Name a readable PEM file with the authority."
        ) from fault
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    return context


def certificate_problem(error: BaseException, host: str) -> tuple[str, str]:
    """What is wrong with a certificate, and what to do."""
    if isinstance(error, ssl.SSLCertVerificationError):
        if error.verify_code == _NOT_YET_VALID:
            text = f"The certificate of {host} is not valid yet by this clock."
            return text, "Look at this machine's clock first: it may be slow."
        text = f"The certificate of {host} is not accepted: {error.verify_message}."
        return text, "Renew the certificate, correct the host's name, or name the authority's file in ca_file."
    if getattr(error, "reason", None) in _NO_TLS:
        return f"{host} does not speak TLS at this port.", "Look at the port, and at what the server offers there."
    words = (getattr(error, "reason", None) or "no reason given").replace("_", " ").lower()
    return f"No secure connection to {host}: {words}.", "Look at the server's TLS; 1.2 or newer is needed."
