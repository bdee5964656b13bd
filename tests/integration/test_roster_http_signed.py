"""Signed rosters, workbooks and the revocation list over real TLS: fetched together, conditionally, and all or none."""

from __future__ import annotations

from collections.abc import AsyncIterator
from zoneinfo import ZoneInfo

import pytest
from aiohttp import web

from gateway.clock import SystemClock
from gateway.errors import SourceRefused, SourceUnreachable
from gateway.ports import Fetched, FetchedRevocations, ListedRevocation, NotModified, RosterSource
from gateway.roster.building import Reach, Signing, build_list_source, build_source
from gateway.roster.http_source import HttpSource
from gateway.roster.reader import RosterFileReader
from tests.fakes.minisigner import Signer
from tests.fakes.tls_server import AUTHORITY, Server, file, fixed, running
from tests.fakes.workbooks import WRITERS

BERLIN = ZoneInfo("Europe/Berlin")
SIGNER = Signer()
REACH = Reach(ca_file=AUTHORITY, allow_loopback=True)
SIGNING = Signing([SIGNER.public], BERLIN)
PEOPLE, GROUPS = b"people", b"groups"
LIST = b"gatepost revocations 1\n0048231907 lost at the slip\n"


@pytest.fixture
async def server() -> AsyncIterator[Server]:
    async with running() as found:
        yield found


def source(server: Server, groups: bool = False) -> RosterSource:
    groups_url = server.url("/groups.toml") if groups else None
    return build_source(
        server.url("/people.csv"), groups_url, reach=REACH, clock=SystemClock(), signing=SIGNING
    )  # fmt: skip


def serve(server: Server, path: str, content: bytes, etag: str, comment: str = "revision: 3") -> None:
    server.answers[path] = file(content, etag)
    server.answers[f"{path}.minisig"] = file(SIGNER.sign(content, comment), etag)


async def fetched(found: RosterSource, tag: str | None = None) -> Fetched:
    answer = await found.fetch(tag)
    assert isinstance(answer, Fetched)
    return answer


async def test_all_four_files_and_then_four_times_304(server: Server) -> None:
    """Each file and each signature is asked for by its own validator."""
    serve(server, "/people.csv", PEOPLE, '"p"')
    serve(server, "/groups.toml", GROUPS, '"g"')
    found = source(server, groups=True)
    first = await fetched(found)
    assert (first.roster, first.groups, first.revision) == (PEOPLE, GROUPS, 3)
    assert await found.fetch(first.tag) == NotModified()
    assert server.asked("If-None-Match")[4:] == ['"p"', '"g"', '"p"', '"g"']


async def test_a_new_signature_alone_is_noticed(server: Server) -> None:
    """Signed again for a later day: everything is fetched together."""
    serve(server, "/people.csv", PEOPLE, '"1"')
    found = source(server)
    first = await fetched(found)
    server.answers["/people.csv.minisig"] = file(SIGNER.sign(PEOPLE, "revision: 4"), '"2"')
    assert (await fetched(found, first.tag)).revision == 4


@pytest.mark.parametrize("status", [404, 410])
async def test_no_signature_there(server: Server, status: int) -> None:
    """The roster is unsigned, which is refused; a host that fails is only out of reach."""
    serve(server, "/people.csv", PEOPLE, '"1"')
    server.answers["/people.csv.minisig"] = fixed(lambda: web.Response(status=status))
    with pytest.raises(SourceRefused, match="no signature"):
        await source(server).fetch(None)
    server.answers["/people.csv.minisig"] = fixed(lambda: web.Response(status=503))
    with pytest.raises(SourceUnreachable, match="503"):
        await source(server).fetch(None)


async def test_a_roster_that_is_gone_is_not_unsigned(server: Server) -> None:
    """404 of the roster itself stays what it is."""
    serve(server, "/people.csv", PEOPLE, '"1"')
    server.answers["/people.csv"] = fixed(lambda: web.Response(status=404))
    with pytest.raises(SourceUnreachable, match="404"):
        await source(server).fetch(None)


async def test_half_of_an_update(server: Server) -> None:
    """The file is new and its signature still the old one: refused now, taken when both are there."""
    serve(server, "/people.csv", PEOPLE, '"1"')
    found = source(server)
    first = await fetched(found)
    server.answers["/people.csv"] = file(b"newer", '"2"')
    with pytest.raises(SourceRefused, match="does not fit"):
        await found.fetch(first.tag)
    serve(server, "/people.csv", b"newer", '"2"', "revision: 4")
    assert (await fetched(found, first.tag)).roster == b"newer"


async def test_the_ending_goes_to_the_path(server: Server) -> None:
    """Before a query, whose parts both files get."""
    serve(server, "/people.csv", PEOPLE, '"1"')
    found = HttpSource(
        server.url("/people.csv?key=a%26b"), ca_file=AUTHORITY, allow_loopback=True, signature_ending=".minisig"
    )
    assert (await fetched(found)).signature == SIGNER.sign(PEOPLE, "revision: 3")
    assert [request.query["key"] for request in server.requests if isinstance(request, web.Request)] == ["a&b"] * 2


@pytest.mark.parametrize("form", sorted(WRITERS))
async def test_a_workbook_comes_with_one_signature(server: Server, form: str) -> None:
    """Its groups are inside, so one signature covers everything."""
    people = [["serial", "holder", "group"], ["1", "Berth 1", "berth-holders"]]
    groups = [["group", "receiver", "position", "outputs"], ["berth-holders", "slip-gate", "1", "gate"]]
    content = WRITERS[form]({"people": people, "groups": groups})
    serve(server, "/people.csv", content, '"1"')
    answer = await fetched(source(server))
    assert RosterFileReader(BERLIN).check(answer.roster, answer.groups, None).transmitters == 1


async def test_the_revocation_list(server: Server) -> None:
    """Signed and conditional; a roster in its place is none, and an unsigned one is refused."""
    serve(server, "/revocations", LIST, '"1"')
    found = build_list_source(server.url("/revocations"), reach=REACH, clock=SystemClock(), signing=SIGNING)
    answer = await found.fetch(None)
    assert isinstance(answer, FetchedRevocations)
    assert answer.entries == (ListedRevocation(48231907, "lost at the slip"),)
    assert (answer.revision, answer.faults) == (3, ())
    assert await found.fetch(answer.tag) == NotModified()
    serve(server, "/revocations", b"0048231907\tBerth 12\n", '"2"', "revision: 4")
    with pytest.raises(SourceRefused, match="is none"):
        await found.fetch(answer.tag)
    strange = build_list_source(server.url("/revocations"), reach=Reach(), clock=SystemClock(), signing=SIGNING)
    with pytest.raises(SourceRefused, match="The revocation list's host") as refused:
        await strange.fetch(None)
    assert "allow_loopback = true" in refused.value.remedy
    server.answers["/revocations.minisig"] = fixed(lambda: web.Response(status=404))
    with pytest.raises(SourceRefused, match="no signature of the revocation list"):
        await found.fetch(None)
