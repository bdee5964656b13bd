"""A running gateway behind TLS, as commands and strangers meet it; and the starts that are refused.

OpenSSL, through Python's ssl, is the peer for versions; certificates are made by pyca/cryptography.
"""

from __future__ import annotations

import socket
import ssl
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import httpx
import pytest

from tests.fakes.certificates import Authority
from tests.integration.yard import Yard, open_yard


@dataclass(frozen=True)
class Site:
    """A gateway with TLS on every address, its authority, and a token in a file."""

    yard: Yard
    authority: Authority
    port: int
    token: Path

    def ask(self, url: str, *more: str | Path) -> tuple[int, str]:
        """A command over the network that finds nothing to complain about."""
        done = self.yard.run("outlet", "list", "--json", "--url", url, "--token-file", self.token, *more)
        return done.code, done.said


def _tls(certificate: Path, key: Path, *more: str) -> str:
    return "\n".join([f'tls_certificate = "{certificate}"', f'tls_key = "{key}"', *more])


@pytest.fixture(scope="module")
def site() -> Iterator[Site]:
    """No line is plugged in: the API works without one."""
    with open_yard() as yard:
        authority = Authority(yard.folder)
        yard.write_settings(
            listen="0.0.0.0:0", api=_tls(*authority.issue("gateway", "localhost", "127.0.0.1", "gate.example"))
        )
        daemon = yard.start()
        token = yard.folder / "token"
        made = yard.run("token", "add", "desk", "--scope", "view", "--json")
        token.write_text(made.json["secret"])
        yield Site(yard, authority, int(daemon.address.rpartition(":")[2]), token)


def test_commands_reach_it_with_its_authority(site: Site) -> None:
    """By name and by address."""
    for host in ("localhost", "127.0.0.1"):
        code, said = site.ask(f"https://{host}:{site.port}", "--ca", site.authority.path)
        assert code == 0, said
        assert "outlets" in said


def test_a_certificate_of_an_unknown_authority_is_not_trusted(site: Site, tmp_path: Path) -> None:
    """The command says what to do; nothing is sent, so the token stays ours."""
    code, said = site.ask(f"https://localhost:{site.port}")
    assert (code, "is not trusted" in said, "--ca" in said) == (3, True, True), said
    code, said = site.ask(f"https://localhost:{site.port}", "--ca", Authority(tmp_path).path)
    assert (code, "is not trusted" in said) == (3, True), said
    code, said = site.ask(f"https://localhost:{site.port}", "--ca", tmp_path / "missing.pem")
    assert (code, "can't be read" in said) == (2, True), said


def test_a_name_that_is_not_in_the_certificate_is_not_trusted(site: Site) -> None:
    """127.0.0.2 is this machine too, and no name of the certificate."""
    code, said = site.ask(f"https://127.0.0.2:{site.port}", "--ca", site.authority.path)
    assert (code, "name that stands in the certificate" in said) == (3, True), said


def _shake_hands(site: Site, least: ssl.TLSVersion, most: ssl.TLSVersion) -> str | None:
    context = ssl.create_default_context(cafile=str(site.authority.path))
    context.set_ciphers("ALL:@SECLEVEL=0")  # or OpenSSL itself would refuse before the gateway can
    context.options &= ~(ssl.OP_NO_TLSv1 | ssl.OP_NO_TLSv1_1)
    context.minimum_version, context.maximum_version = least, most
    with (
        socket.create_connection(("127.0.0.1", site.port), timeout=10) as plain,
        context.wrap_socket(plain, server_hostname="localhost") as wrapped,
    ):
        return wrapped.version()


@pytest.mark.filterwarnings("ignore:ssl.TLSVersion:DeprecationWarning")
@pytest.mark.filterwarnings("ignore:ssl.OP_NO:DeprecationWarning")
def test_only_tls_1_2_and_1_3_are_spoken(site: Site) -> None:
    """RFC 8996 ends the versions before; the same client with them allowed gets in with 1.2."""
    version = ssl.TLSVersion
    assert _shake_hands(site, version.TLSv1_2, version.TLSv1_2) == "TLSv1.2"
    assert _shake_hands(site, version.TLSv1_3, version.TLSv1_3) == "TLSv1.3"
    for old in (version.TLSv1, version.TLSv1_1):
        with pytest.raises((ssl.SSLError, ConnectionResetError)):
            _shake_hands(site, old, old)
    assert _shake_hands(site, version.TLSv1, version.TLSv1_2) == "TLSv1.2"


def test_plain_http_gets_nothing(site: Site) -> None:
    """A token sent in clear by mistake is not answered, and the command says that the address is wrong."""
    with pytest.raises(httpx.HTTPError):
        httpx.get(f"http://127.0.0.1:{site.port}/healthz", timeout=10)
    code, said = site.ask(f"http://127.0.0.1:{site.port}")
    assert code == 3, said


def test_hosts_are_checked_behind_tls_too(site: Site) -> None:
    """A certificate's name is not yet a name that the gateway answers to; `api.hosts` is."""
    context = ssl.create_default_context(cafile=str(site.authority.path))
    with httpx.Client(verify=context) as client:
        assert client.get(f"https://localhost:{site.port}/healthz").status_code in (200, 503)
        foreign = client.get(f"https://localhost:{site.port}/healthz", headers={"Host": "gate.example"})
        assert foreign.status_code == 421


@pytest.mark.parametrize(
    ("api", "word"),
    [
        ("", "loopback"),
        ('tls_certificate = "gateway.crt"', "belong together"),
        ('tls_certificate = "missing.crt"\ntls_key = "missing.key"', "can't be used"),
    ],
)
def test_starts_that_are_refused(tmp_path: Path, api: str, word: str) -> None:
    """Open to others without TLS, half a pair, files that are not there: exit 2 with a sentence, nothing listens."""
    with open_yard() as yard:
        yard.write_settings(listen="0.0.0.0:0", api=api)
        done = yard.run("run", "--config", yard.config)
        assert (done.code, word in done.said) == (2, True), done.said


def test_a_key_of_another_certificate_is_refused(tmp_path: Path) -> None:
    """OpenSSL says that they don't fit, and the start says which files it means."""
    with open_yard() as yard:
        authority = Authority(yard.folder)
        certificate, _ = authority.issue("one", "localhost")
        _, key = authority.issue("two", "localhost")
        yard.write_settings(listen="0.0.0.0:0", api=_tls(certificate, key))
        done = yard.run("run", "--config", yard.config)
        assert (done.code, str(certificate) in done.said) == (2, True), done.said


def test_a_proxy_in_front_is_somebody_s_word(tmp_path: Path) -> None:
    """With it the gateway listens in clear on every address, for the proxy."""
    with open_yard() as yard:
        yard.write_settings(listen="0.0.0.0:0", api="behind_proxy = true")
        daemon = yard.start()
        assert httpx.get(f"{daemon.address}/healthz/live").status_code == 200
