"""What a failed fetch is called, and what to do about it."""

from __future__ import annotations

import ssl

import aiohttp

from gateway.errors import GatepostError, SourceRefused, SourceUnreachable

__all__ = ["failure_of", "status_failure"]

_AGAIN = "it is tried again"
_NOT_YET_VALID = 9  # X509_V_ERR_CERT_NOT_YET_VALID, openssl-verification-options(1)
_STATUS_REMEDIES = {
    401: "Write the right user and password, or token, into the secret file.",
    403: "Let the server give this user the file.",
    404: "Put the file there, or correct the address.",
    410: "Put the file there, or correct the address.",
    429: f"The server asks for fewer requests; {_AGAIN}.",
}
_FAILURES: tuple[tuple[type[Exception], str, str], ...] = (
    (aiohttp.ClientSSLError, "No secure connection to {host}.", "Look at the server's TLS"),
    (aiohttp.ClientConnectorDNSError, "The name {host} leads to no address.", "Correct it, or look at the name server"),
    (aiohttp.ClientPayloadError, "The roster stops early.", "Nothing to do"),
    (aiohttp.ClientConnectorError, "No connection to {host}: {reason}.", "Look at the server and the network"),
    (aiohttp.ClientConnectionError, "The connection to {host} was cut.", "Look at the server"),
    (OSError, "The connection to {host} failed: {reason}.", "Look at the network"),
)


def failure_of(error: Exception, host: str) -> GatepostError:
    """The error for something that the client library or the operating system raised."""
    if isinstance(error, aiohttp.ClientConnectorCertificateError):
        return _certificate(error.certificate_error, host)
    for kind, message, remedy in _FAILURES:
        if isinstance(error, kind):
            reason = _reason(error)
            return SourceUnreachable(message.format(host=host, reason=reason), remedy=f"{remedy}; {_AGAIN}.")
    remedy = f"Look at the server, or correct the address; {_AGAIN}."
    return SourceRefused(f"{host} answered with something that is no HTTP ({type(error).__name__}).", remedy=remedy)


def _reason(error: Exception) -> str:
    cause = error.os_error if isinstance(error, aiohttp.ClientConnectorError) else error
    return (cause.strerror if isinstance(cause, OSError) else None) or str(cause)


def _certificate(error: Exception, host: str) -> SourceUnreachable:
    if isinstance(error, ssl.SSLCertVerificationError) and error.verify_code == _NOT_YET_VALID:
        remedy = "Look at this machine's clock first: it may be slow."
        return SourceUnreachable(f"The certificate of {host} is not valid yet by this clock.", remedy=remedy)
    reason = error.verify_message if isinstance(error, ssl.SSLCertVerificationError) else str(error)
    remedy = "Renew the certificate, correct the host's name, or name the authority's file in the settings."
    return SourceUnreachable(f"The certificate of {host} is not accepted: {reason}.", remedy=remedy)


def status_failure(status: int) -> GatepostError:
    """The error for a status that is neither 200, 304 nor a redirect."""
    if 200 <= status < 400:
        remedy = "Correct the address: it must answer with the file itself (status 200)."
        return SourceRefused(f"The roster's host answers with status {status}.", remedy=remedy)
    remedy = _STATUS_REMEDIES.get(status, f"Look at the server; {_AGAIN}.")
    return SourceUnreachable(f"The roster's host answers with status {status}.", remedy=remedy)
