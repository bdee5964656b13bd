"""A roster file and its groups file at HTTP(S) addresses, with their signatures where those are asked for.

Asked conditionally (RFC 9110, section 13), each file by its own validator; at most three redirects, all
to https and each judged anew; limits on size and time; certificates always verified. An answer that could be
half of a file is refused: bodies without a length, packed bodies without their end. The only file of this
room that loads aiohttp.
"""

from __future__ import annotations

import asyncio
import socket
import ssl
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import aiohttp
from aiohttp.abc import AbstractResolver, ResolveResult
from yarl import URL

from gateway.clock import Clock, SystemClock
from gateway.domain.addresses import AddressPolicy, literal_address, looks_like_address
from gateway.errors import GatepostError, SettingsFault, SourceRefused, SourceUnreachable
from gateway.ports import Fetched, NotModified
from gateway.roster.file_source import MAX_BYTES
from gateway.roster.http_body import ACCEPTED_CODINGS, read_body
from gateway.roster.http_failures import failure_of, status_failure
from gateway.roster.validators import Validator, read_tag, source_digest, write_tag

__all__ = ["HttpSource"]

TIMEOUT_S = 60.0  # our choice: for both files together
MAX_REDIRECTS = 3
_REDIRECTS = frozenset((301, 302, 303, 307, 308))
_ABSENT = frozenset((404, 410))
_CHUNK_BYTES = 65_536


@dataclass(frozen=True, slots=True)
class _Answer:
    """One file; `body` is None when the source said that it hasn't changed."""

    body: bytes | None
    validator: Validator


class _JudgingResolver(AbstractResolver):
    """Resolves as the system does and refuses a name that leads to a forbidden address."""

    def __init__(self, policy: AddressPolicy) -> None:
        self._policy = policy
        self._inner = aiohttp.ThreadedResolver()

    async def resolve(
        self, host: str, port: int = 0, family: socket.AddressFamily = socket.AF_INET
    ) -> list[ResolveResult]:
        results = await self._inner.resolve(host, port, family)
        for result in results:
            _judge(self._policy, host, result["host"])
        return results

    async def close(self) -> None:
        await self._inner.close()


def _judge(policy: AddressPolicy, host: str, address: str) -> None:
    reason = policy.refusal(address)
    if reason is not None:
        key = "allow_loopback" if reason == "this machine itself" else "allow_private"
        remedy = f"Correct the address; if it is meant, write {key} = true in [roster]."
        raise SourceRefused(f"The roster's host {host} is {reason} ({address}).", remedy=remedy)


class HttpSource:
    """Implements `ports.RosterSource` for web addresses.

    `authorization` is a whole header value (see `credentials`); it goes to the host of `url` alone. `ca_file`
    replaces the system's certificate authorities. With `signature_ending` the files whose paths have this ending too
    are fetched as well; one that the host doesn't have is None. Raises SettingsFault for addresses that can't be used.
    """

    def __init__(
        self,
        url: str,
        groups_url: str | None = None,
        *,
        authorization: str | None = None,
        ca_file: Path | None = None,
        allow_private: bool = False,
        allow_loopback: bool = False,
        allow_plain_http: bool = False,
        clock: Clock | None = None,
        timeout_s: float = TIMEOUT_S,
        max_bytes: int = MAX_BYTES,
        signature_ending: str = "",
    ) -> None:
        self._policy = AddressPolicy(allow_private, allow_loopback)
        self._plain = allow_plain_http
        self._authorization = authorization
        self._urls = [self._configured(text) for text in (url, groups_url) if text is not None]
        self._signatures = [_beside(found, signature_ending) for found in self._urls] if signature_ending else []
        self._ca_file = ca_file
        self._clock = clock or SystemClock()
        self._timeout_s = timeout_s
        self._max_bytes = max_bytes

    def _configured(self, text: str) -> URL:
        """An address of the settings, checked as far as that needs no network."""
        try:
            url = URL(text)
        except ValueError as error:
            raise SettingsFault("The roster's address can't be read.", remedy="Write https://host/path.") from error
        if url.scheme not in ("https", "http") or not url.host:
            raise SettingsFault("The roster's address is no web address.", remedy="Write https://host/path.")
        if url.user is not None or url.password is not None:
            remedy = "Put user and password into a secret file, which the settings name."
            raise SettingsFault("The roster's address holds a user or a password.", remedy=remedy)
        if url.scheme == "http" and not self._plain:
            remedy = "Use https, or allow plain http in the settings: anybody on the way could then change the roster."
            raise SettingsFault("The roster's address is plain http.", remedy=remedy)
        if url.scheme == "http" and self._authorization and not self._policy.allow_loopback:
            remedy = "Use https, or leave out the secret."
            raise SettingsFault("The roster's secret would cross the network in clear text.", remedy=remedy)
        return url.with_fragment(None)

    @property
    def place(self) -> str:
        return str(self._urls[0].with_query(None))

    async def fetch(self, tag: str | None) -> Fetched | NotModified:
        """Ask for both files. Raises SourceUnreachable, SourceRefused. Cancellation is safe."""
        try:
            async with self._clock.timeout(self._timeout_s):
                return await self._fetch(read_tag(tag))
        except TimeoutError as error:
            remedy = "Look at the network and the server; it is tried again."
            raise SourceUnreachable(
                f"The roster's host did not answer in full within {self._timeout_s:g} s.", remedy=remedy
            ) from error

    async def _fetch(self, known: dict[str, Validator]) -> Fetched | NotModified:
        urls = [*self._urls, *self._signatures]
        keys = [source_digest(str(url)) for url in urls]
        context = await asyncio.to_thread(self._tls_context)
        async with self._session(context) as session:
            answers = [await self._get(session, url, known.get(key)) for url, key in zip(urls, keys, strict=True)]
            validators = {key: answer.validator for key, answer in zip(keys, answers, strict=True)}
            if known.keys() == validators.keys() and all(
                known[key].digest == validator.digest for key, validator in validators.items()
            ):
                return NotModified()
            for place, answer in enumerate(answers):
                if answer.body is None:  # only another file has changed: all are needed together
                    answers[place] = await self._get(session, urls[place], None)
        bodies = [answer.body or b"" for answer in answers]
        tag = write_tag({key: answer.validator for key, answer in zip(keys, answers, strict=True)})
        count = len(self._urls)
        signature, of_groups = [*(body or None for body in bodies[count:]), None, None][:2]
        return Fetched(bodies[0], bodies[1] if count > 1 else None, tag, signature, of_groups)

    def _session(self, context: ssl.SSLContext) -> aiohttp.ClientSession:
        connector = aiohttp.TCPConnector(resolver=_JudgingResolver(self._policy), ssl=context, use_dns_cache=False)
        return aiohttp.ClientSession(
            connector=connector,
            cookie_jar=aiohttp.DummyCookieJar(),
            timeout=aiohttp.ClientTimeout(total=None),
            headers={"User-Agent": "gatepost", "Accept-Encoding": ACCEPTED_CODINGS},
            auto_decompress=False,
        )

    def _tls_context(self) -> ssl.SSLContext:
        try:
            context = ssl.create_default_context(cafile=self._ca_file)
        except OSError as error:
            remedy = "Name a readable PEM file with the authority's certificate."
            raise SourceRefused(f"{self._ca_file} can't be read as certificates.", remedy=remedy) from error
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        return context

    async def _get(self, session: aiohttp.ClientSession, start: URL, known: Validator | None) -> _Answer:
        """One file, after at most three redirects."""
        url = start
        for _ in range(MAX_REDIRECTS + 1):
            host = url.host or ""
            if looks_like_address(host):
                _judge(self._policy, host, host if literal_address(host) else f"{host}, written short")
            conditions = known.conditions(str(url)) if known else {}
            headers = dict(conditions)
            if self._authorization and url.origin() == self._urls[0].origin():
                headers["Authorization"] = self._authorization
            try:
                async with session.get(url, headers=headers, allow_redirects=False) as response:
                    if response.status not in _REDIRECTS:
                        return await self._take(response, start, url, known if conditions else None)
                    url = _redirected(url, response.headers)
            except (aiohttp.ClientError, OSError, ValueError) as error:
                if isinstance(error, TimeoutError):
                    raise
                raise failure_of(error, host) from error
        raise SourceRefused(
            f"The roster's host redirects more than {MAX_REDIRECTS} times.", remedy="Write the final address."
        )

    async def _take(
        self, response: aiohttp.ClientResponse, start: URL, url: URL, asked_with: Validator | None
    ) -> _Answer:
        """What an answer that is no redirect amounts to."""
        if response.status == 304:
            if asked_with is None:
                remedy = "Look at the server or the proxy in between; it is tried again."
                raise SourceRefused(
                    "The roster's host says 304 (not changed) without having been asked.", remedy=remedy
                )
            return _Answer(None, asked_with)
        if response.status in _ABSENT and start in self._signatures:
            return _Answer(b"", Validator.of(str(url), b"", {}))
        if response.status != 200:
            raise status_failure(response.status)
        refusal = _form_refusal(response.headers)
        if refusal is not None:
            raise refusal
        chunks = response.content.iter_chunked(_CHUNK_BYTES)
        body = await read_body(chunks, response.headers.get("Content-Encoding", ""), self._max_bytes)
        return _Answer(body, Validator.of(str(url), body, response.headers))


def _beside(url: URL, ending: str) -> URL:
    """The address of the file beside this one: the ending goes to the path, before any query."""
    return url.with_path(url.raw_path + ending, encoded=True).with_query(url.query)


def _redirected(url: URL, headers: Mapping[str, str]) -> URL:
    target = url.join(URL(headers.get("Location", "")))
    where = f"{target.scheme}://{target.host or ''}, which is not https"
    if target.user is not None:
        where = "an address with a user's name in it"
    if target.scheme != "https" or not target.host or target.user is not None:
        remedy = "Write the final https address into the settings."
        raise SourceRefused(f"The roster's host redirects to {where}.", remedy=remedy)
    return target.with_fragment(None)


def _form_refusal(headers: Mapping[str, str]) -> GatepostError | None:
    """Why an answer of status 200 is no roster, as far as its header tells."""
    if headers.get("Content-Type", "").partition(";")[0].strip().lower() in ("text/html", "application/xhtml+xml"):
        remedy = "Correct the address: it may lead to a sign-in page. A direct link to the file is needed."
        return SourceRefused("The roster's host sent a web page.", remedy=remedy)
    packed = headers.get("Content-Encoding", "identity").strip().lower() not in ("", "identity")
    chunked = "chunked" in headers.get("Transfer-Encoding", "").lower()
    if not (packed or chunked or "Content-Length" in headers):
        remedy = "Use a server that sends Content-Length: a file that was cut would look whole."
        return SourceRefused("The roster's host does not say how long the file is.", remedy=remedy)
    return None
