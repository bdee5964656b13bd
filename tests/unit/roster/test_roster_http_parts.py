"""The parts of fetching that need no network: bodies, validators, credentials."""

from __future__ import annotations

import gzip
import tracemalloc
import zlib
from collections.abc import AsyncIterator

import pytest

from gateway.errors import SettingsFault, SourceRefused, SourceUnreachable
from gateway.roster.credentials import AuthScheme, authorization
from gateway.roster.http_body import read_body
from gateway.roster.validators import Validator, read_tag, write_tag

URL = "https://roster.fennel-quay.example/people.csv?key=secret"


async def chunks(data: bytes, size: int = 1000) -> AsyncIterator[bytes]:
    for start in range(0, len(data), size):
        yield data[start : start + size]


@pytest.mark.parametrize(
    ("coding", "data"),
    [
        ("", b"people"),
        ("identity", b"people"),
        ("GZIP", gzip.compress(b"people", mtime=0)),
        ("deflate", zlib.compress(b"people")),
    ],
)
@pytest.mark.parametrize("size", [1, 1000])
async def test_bodies(coding: str, data: bytes, size: int) -> None:
    """Plain, gzip and deflate, however the bytes arrive (RFC 9110, 8.4.1)."""
    assert await read_body(chunks(data, size), coding, 6) == b"people"


@pytest.mark.parametrize("coding", ["", "gzip"])
async def test_the_limit_is_exact_and_counts_unpacked_bytes(coding: str) -> None:
    """One byte more than allowed is refused."""
    data = gzip.compress(b"people") if coding else b"people"
    with pytest.raises(SourceRefused, match="larger than"):
        await read_body(chunks(data), coding, 5)


async def test_a_bomb_is_stopped_while_it_unfolds() -> None:
    """A megabyte that would unfold into a gigabyte: refused after the first chunk, without unfolding it."""
    taken = 0

    async def counted() -> AsyncIterator[bytes]:
        nonlocal taken
        packer = zlib.compressobj(wbits=16 + zlib.MAX_WBITS)
        zeros = bytes(1 << 20)
        for _ in range(1024):
            taken += 1
            yield packer.compress(zeros)

    with pytest.raises(SourceRefused, match="larger than 1 MiB"):
        await read_body(counted(), "gzip", 1 << 20)
    assert taken < 50


async def test_a_bomb_in_one_chunk_takes_no_more_memory_than_the_limit() -> None:
    """100 MiB of zeros in one chunk of 100 kB: what is held at the worst moment stays near the limit."""
    packer = zlib.compressobj(wbits=16 + zlib.MAX_WBITS)
    data = b"".join(packer.compress(bytes(1 << 20)) for _ in range(100)) + packer.flush()
    tracemalloc.start()
    try:
        with pytest.raises(SourceRefused, match="larger than 1 MiB"):
            await read_body(chunks(data, len(data)), "gzip", 1 << 20)
        assert tracemalloc.get_traced_memory()[1] < 8 << 20
    finally:
        tracemalloc.stop()


async def test_packed_bodies_that_stop_early() -> None:
    """Every cut is seen by the missing end mark."""
    data = gzip.compress(b"people and more people")
    for length in range(len(data)):
        with pytest.raises(SourceUnreachable, match="stops early"):
            await read_body(chunks(data[:length]), "gzip", 100)


@pytest.mark.parametrize(
    "data",
    [
        b"people",
        gzip.compress(b"people", mtime=0) + gzip.compress(b"more", mtime=0),
        gzip.compress(b"p", mtime=0) + b"x",
    ],
)
async def test_damaged_packed_bodies(data: bytes) -> None:
    """Not gzip, or more than one member: part of the roster would be lost silently."""
    with pytest.raises(SourceRefused, match="damaged"):
        await read_body(chunks(data), "gzip", 100)


async def test_an_unknown_coding() -> None:
    """What was not asked for is not guessed."""
    with pytest.raises(SourceRefused, match="'br'"):
        await read_body(chunks(b"x"), "br", 100)


@pytest.mark.parametrize("etag", ['"1"', 'W/"1"', '""', '"a-b:c"'])
def test_an_entity_tag_goes_before_a_date(etag: str) -> None:
    """RFC 9110, 13.1.2: with an entity tag only If-None-Match is sent, byte for byte, weak or strong."""
    validator = Validator.of(URL, b"", {"ETag": etag, "Last-Modified": "Wed, 25 Nov 2026 10:00:00 GMT"})
    assert validator.conditions(URL) == {"If-None-Match": etag}


@pytest.mark.parametrize("etag", ["1", "'1'", '"a"b"', '"a\nb"', 'w/"1"', ""])
def test_a_malformed_entity_tag_falls_back_to_the_date(etag: str) -> None:
    """RFC 9110, 8.8.3, gives the grammar; what breaks it is never sent back."""
    validator = Validator.of(URL, b"", {"ETag": etag, "Last-Modified": "Wed, 25 Nov 2026 10:00:00 GMT"})
    assert validator.conditions(URL) == {"If-Modified-Since": "Wed, 25 Nov 2026 10:00:00 GMT"}


def test_no_validator_no_condition() -> None:
    """Then the digest alone tells whether something changed."""
    assert Validator.of(URL, b"", {}).conditions(URL) == {}


def test_a_validator_belongs_to_its_address() -> None:
    """RFC 9110, 8.8.3: an entity tag is unique for one resource only."""
    assert Validator.of(URL, b"", {"ETag": '"1"'}).conditions(URL + "2") == {}


def test_tags_round_trip_and_hold_no_secret() -> None:
    """A tag is stored; the address, whose query may be a secret, can't be read from it."""
    validators = {"a": Validator.of(URL, b"x", {"ETag": '"1"'}), "b": Validator.of(URL, b"y", {})}
    tag = write_tag(validators)
    assert read_tag(tag) == validators
    assert "secret" not in tag


@pytest.mark.parametrize(
    "tag", [None, "", "rubbish", "3", "[]", '{"a": 3}', '{"a": {"etag": "x"}}', '{"a": {"b": "c"}}']
)
def test_foreign_tags_are_ignored(tag: str | None) -> None:
    """Another source's tag leads to a full fetch, not to a failure."""
    assert read_tag(tag) == {}


def test_basic_credentials() -> None:
    """RFC 7617, section 2: the example, and section 2.1 for letters beyond ASCII."""
    assert authorization(AuthScheme.BASIC, "Aladdin:open sesame\n") == "Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ=="
    assert authorization(AuthScheme.BASIC, "test:123£") == "Basic dGVzdDoxMjPCow=="


def test_bearer_credentials() -> None:
    """RFC 6750, section 2.1: the example."""
    assert authorization(AuthScheme.BEARER, "mF_9.B5f-4.1JqM\n") == "Bearer mF_9.B5f-4.1JqM"


@pytest.mark.parametrize(
    ("scheme", "secret"),
    [
        (AuthScheme.BEARER, "two words"),
        (AuthScheme.BEARER, "a\r\nX-Evil: 1"),
        (AuthScheme.BEARER, ""),
        (AuthScheme.BASIC, "hunter2"),
        (AuthScheme.BASIC, "a:b\nc"),
    ],
)
def test_faulty_secrets_are_refused_and_never_shown(scheme: AuthScheme, secret: str) -> None:
    """The message names the form, not the secret."""
    with pytest.raises(SettingsFault) as error:
        authorization(scheme, secret)
    assert error.value.remedy
    assert not secret or secret not in str(error.value)
