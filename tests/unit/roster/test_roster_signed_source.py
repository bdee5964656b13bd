"""A source whose files must be signed: terms of the comment, both files, and what an unchanged answer still tells."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from gateway.errors import SourceRefused
from gateway.ports import Fetched, NotModified, RosterSource
from gateway.roster.minisign import read_keys
from gateway.roster.signed_source import SignedSource
from gateway.roster.trusted_comment import SignedTerms, read_terms
from tests.fakes.clock import FakeClock
from tests.fakes.minisigner import Signer
from tests.fakes.use_cases import FakeTrust

BERLIN = ZoneInfo("Europe/Berlin")
SIGNER = Signer()
ROSTER, GROUPS = b"people", b"groups"


@dataclass
class Inner:
    """A source that the test sets; answers "not modified" to its own tag."""

    answer: Fetched
    place: str = "/srv/quay/people.csv"
    asked: list[str | None] = field(default_factory=list)

    async def fetch(self, tag: str | None) -> Fetched | NotModified:
        self.asked.append(tag)
        return NotModified() if tag == self.answer.tag else self.answer


def signed(comment: str = "revision: 7", *, tag: str = "t1", signer: Signer = SIGNER) -> Fetched:
    return Fetched(ROSTER, None, tag, signer.sign(ROSTER, comment))


@dataclass
class Bench:
    inner: Inner
    clock: FakeClock = field(default_factory=lambda: FakeClock(datetime(2026, 3, 2, 8, tzinfo=UTC)))
    trust: FakeTrust = field(default_factory=FakeTrust)
    keys: list[str] = field(default_factory=lambda: [SIGNER.public])
    names: tuple[str, ...] = ("people.csv", "groups.toml")

    async def fetch(self, tag: str | None = None) -> Fetched | NotModified:
        source: RosterSource = SignedSource(
            self.inner, read_keys(self.keys), BERLIN, clock=self.clock, trust=self.trust, names=self.names
        )
        return await source.fetch(tag)

    async def good(self, tag: str | None = None) -> Fetched:
        found = await self.fetch(tag)
        assert isinstance(found, Fetched)
        return found

    async def refused(self, words: str, tag: str | None = None) -> None:
        with pytest.raises(SourceRefused, match=words) as error:
            await self.fetch(tag)
        assert error.value.remedy


# --- the comment ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("comment", "terms"),
    [
        ("revision: 7", SignedTerms(7)),
        ("revision:7", SignedTerms(7)),
        ("timestamp:1764000000\tfile:people.csv\thashed revision: 007", SignedTerms(7, file="people.csv")),
        ("for Fennel Quay, revision: 7, expires: 2026-12-31", SignedTerms(7, datetime(2026, 12, 31, 23, tzinfo=UTC))),
        ("expires: 2026-12-31T18:00Z revision: 7", SignedTerms(7, datetime(2026, 12, 31, 18, tzinfo=UTC))),
    ],
)
def test_the_terms_of_a_comment(comment: str, terms: SignedTerms) -> None:
    """Revision, end (a day counts in the site's zone and to its end) and file, among anything else."""
    assert read_terms(comment, BERLIN, "the roster") == terms


@pytest.mark.parametrize(
    ("comment", "words"),
    [
        ("timestamp:1764000000", "no revision"),
        ("subrevision: 7", "no revision"),
        ("revision: seven", "no whole number"),
        ("revision: -7", "no whole number"),
        ("revision:", "no whole number"),
        ("revision: 7 revision: 8", "twice"),
        ("revision: 7 expires: soon", "expires: 'soon'"),
        ("revision: 7 expires: 31/12/2026", "expires"),
    ],
)
def test_comments_without_clear_terms(comment: str, words: str) -> None:
    """Refused, and the remedy says how to sign."""
    with pytest.raises(SourceRefused, match=words) as error:
        read_terms(comment, BERLIN, "the roster")
    assert "-t" in error.value.remedy


# --- files ------------------------------------------------------------------------------------------------


async def test_a_signed_roster_brings_its_revision() -> None:
    """The bytes as they came, and the same tag again is not modified."""
    bench = Bench(Inner(signed()))
    found = await bench.good()
    assert (found.roster, found.groups, found.revision) == (ROSTER, None, 7)
    assert await bench.fetch(found.tag) == NotModified()
    assert bench.inner.asked == [None, "t1"]


async def test_the_groups_file_is_signed_too() -> None:
    """It says as much about who opens what; both have the same revision, so that old and new can't be paired."""
    bench = Bench(Inner(signed()))
    bench.inner.answer = Fetched(ROSTER, GROUPS, "t2", SIGNER.sign(ROSTER, "revision: 7"))
    await bench.refused("no signature of the groups file")
    bench.inner.answer = Fetched(
        ROSTER, GROUPS, "t3", SIGNER.sign(ROSTER, "revision: 7"), SIGNER.sign(GROUPS, "revision: 6")
    )
    await bench.refused("different revisions, 7 and 6")
    bench.inner.answer = Fetched(
        ROSTER, GROUPS, "t4", SIGNER.sign(ROSTER, "revision: 7"), SIGNER.sign(GROUPS, "revision: 7")
    )
    assert (await bench.good()).revision == 7


async def test_a_signature_tied_to_a_name() -> None:
    """With `file:` it is worth nothing beside another file."""
    bench = Bench(Inner(signed("revision: 7 file: people.csv")))
    await bench.good()
    bench.names = ("barge-crew.csv",)
    await bench.refused("for a file named 'people.csv'")


# --- time and keys ----------------------------------------------------------------------------------------


async def test_an_expired_signature_is_refused_also_when_nothing_changed() -> None:
    """A server that holds back new rosters for ever is found out."""
    bench = Bench(Inner(signed("revision: 7 expires: 2026-03-02")))
    found = await bench.good()
    assert await bench.fetch(found.tag) == NotModified()
    await bench.clock.advance(15 * 3600)  # 23:00 UTC is midnight in Berlin
    await bench.refused(r"expired at 2026-03-03 00:00\+01:00", found.tag)
    await bench.refused("expired")


async def test_nothing_expires_by_a_clock_that_is_not_trusted() -> None:
    """Rule 7: it is judged when the time is known."""
    bench = Bench(Inner(signed("revision: 7 expires: 2026-03-01")), trust=FakeTrust(False))
    found = await bench.good()
    assert await bench.fetch(found.tag) == NotModified()
    bench.trust.trusted = True
    await bench.refused("expired", found.tag)


async def test_a_key_that_is_no_longer_named() -> None:
    """An unchanged file is fetched and judged anew once its key is taken out of the settings."""
    new = Signer(bytes(32), b"new  key")
    bench = Bench(Inner(signed()), keys=[SIGNER.public, new.public])
    found = await bench.good()
    bench.keys = [new.public]
    await bench.refused("which is unknown", found.tag)
    bench.inner.answer = signed("revision: 8", signer=new)
    assert (await bench.good(found.tag)).revision == 8


@pytest.mark.parametrize("tag", ["t1", "{}", "[]", '{"signed": "t1"}', "rubbish", '{"signed":1,"keys":3,"expires":""}'])
async def test_a_tag_of_an_unsigned_fetch_proves_nothing(tag: str) -> None:
    """After signatures are switched on, everything is fetched and verified."""
    bench = Bench(Inner(signed()))
    assert isinstance(await bench.fetch(tag), Fetched)
    assert bench.inner.asked == [None]
