"""Mail to a real SMTP server on the loopback: aiosmtpd takes it, over STARTTLS, TLS and in clear."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from typing import Any

import pytest

from gateway.clock import Clock
from gateway.domain.addresses import AddressPolicy
from gateway.domain.events import Event, EventDraft, EventId, EventName, Span
from gateway.outlets.choice import Choice
from gateway.outlets.house import OutletHouse
from gateway.outlets.mail import MailOutlet, MailPlan
from gateway.ports import Commit, Delivered, Delivery, EventRejected, Parcel, RetryLater
from tests.fakes.clock import FakeClock
from tests.fakes.doc_examples import fenced
from tests.fakes.mail_server import TLS, Server, server_tls, serving
from tests.fakes.memory_store import MemoryStore
from tests.fakes.outlets import MemoryOutbox
from tests.fakes.use_cases import FakeTrust

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
LEFT_OPEN = {"condition": "left-open", "sentence": "The slip gate stands open for 15 minutes."}


PLAN = MailPlan(
    name="office",
    host="localhost",
    port=0,
    sender="gate@fennel-quay.example",
    recipients=("harbour-office@fennel-quay.example",),
    site="fennel-quay",
    zone=UTC,
    receivers=("slip-gate",),
    ca_file=TLS / "authority.pem",
    policy=AddressPolicy(allow_loopback=True),
)


@pytest.fixture(autouse=True)
def patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """The server answers in real time, and meanwhile a test may move the clock by hours."""
    monkeypatch.setattr("gateway.outlets.mail_sending.TIMEOUT_S", 1e9)
    monkeypatch.setattr("gateway.outlets.runner.DEADLINE_S", 1e9)


class Bench:
    def __init__(self, clock: Clock | None = None) -> None:
        self.clock = clock or FakeClock()
        self.store = MemoryStore(self.clock)
        self.trust = FakeTrust()

    def outlet(self, server: Server, **changes: Any) -> MailOutlet:
        return MailOutlet(
            replace(PLAN, port=server.port, **changes),
            journal=self.store.journal,
            runs=self.store.runs,
            trust=self.trust,
            clock=self.clock,
            standing=lambda: ["The car-park barrier can't be reached."],
        )

    async def send(self, server: Server, *events: Event, **changes: Any) -> Delivery:
        parcels = [Parcel(event) for event in events or (happened(),)]
        return await self.outlet(server, **changes).deliver(parcels)


def happened(number: int = 1, late: Span | None = None, **data: Any) -> Event:
    found = {**LEFT_OPEN, **data}
    return Event(EventId("k3v9", number), EventName.CONDITION_RAISED, "slip-gate", NOON, True, "b", 1.0, found, late)


async def test_a_mail_over_starttls() -> None:
    """Subject, sender, recipient and a sentence with the time; marked so that no machine answers."""
    async with serving(starttls=server_tls()) as server:
        outcome = await Bench().send(server)
    assert isinstance(outcome, Delivered)
    (mail,) = server.mails
    assert server.secure == [True]
    assert mail["Subject"] == "fennel-quay: slip-gate, left open raised"
    assert (mail["From"], mail["To"]) == ("gate@fennel-quay.example", "harbour-office@fennel-quay.example")
    (shown,) = fenced("outlets/mail.md", "text")
    assert f"Subject: {mail['Subject']}\n\n{mail.get_content()}".split() == shown.split()
    assert mail["Auto-Submitted"] == "auto-generated"
    assert mail.get_content().splitlines() == [
        "02 Mar 2026 12:00 +0000, slip-gate: left open raised: The slip gate stands open for 15 minutes."
    ]


async def test_tls_from_the_first_byte_and_a_login() -> None:
    """Implicit TLS (RFC 8314) with user and password."""
    async with serving(tls=server_tls()) as server:
        good = await Bench().send(server, security="tls", username="fennel-quay", password="example")
        bad = await Bench().send(server, security="tls", username="fennel-quay", password="canary-word")
    assert isinstance(good, Delivered)
    assert server.secure == [True]
    assert isinstance(bad, RetryLater)
    assert "user and password" in bad.problem
    assert "canary" not in str(bad)


async def test_starttls_is_required_not_hoped_for() -> None:
    """A server, or somebody in between, that does not offer it gets no mail."""
    async with serving() as server:
        outcome = await Bench().send(server)
    assert isinstance(outcome, RetryLater)
    assert outcome.problem == "localhost offers no STARTTLS."
    assert server.mails == []


@pytest.mark.parametrize("name", ["elsewhere", "expired", "early"])
async def test_certificates_are_verified(name: str) -> None:
    """Name, dates, authority."""
    async with serving(tls=server_tls(name)) as server:
        outcome = await Bench().send(server, security="tls")
    assert isinstance(outcome, RetryLater)
    assert "certificate" in outcome.problem
    assert server.mails == []


async def test_what_a_server_can_say() -> None:
    """4yz waits, 5yz to a mail refuses that mail, nobody listening waits, a forbidden address is not asked."""
    bench = Bench()
    async with serving(starttls=server_tls()) as server:
        server.answer = "451 4.3.2 later"
        assert await bench.send(server) == RetryLater(
            "localhost does not take the mail now: 451 4.3.2 later.", "Look at the mail server."
        )
        server.answer = "554 not this"
        assert await bench.send(server) == EventRejected(
            "localhost refuses this mail: 554 not this.", "Look at the mail server's log."
        )
        server.refused = PLAN.recipients
        refused = await bench.send(server)
        assert isinstance(refused, RetryLater)
        nobody = "harbour-office@fennel-quay.example (550 nobody of that name)"
        assert refused.problem == f"localhost refuses every recipient: {nobody}."
        server.refused, server.put_off = (), PLAN.recipients
        put_off = await bench.send(server)
        assert isinstance(put_off, RetryLater)
        assert put_off.problem.startswith("localhost asks to try again later: harbour-office@fennel-quay.example (451")
        server.put_off, server.sender_refused = (), True
        sender = await bench.send(server)
        assert isinstance(sender, RetryLater)
        assert sender.problem == "localhost refuses the sender gate@fennel-quay.example: 553 5.7.1 not your address."
        forbidden = await bench.send(server, policy=AddressPolicy())
        assert "this machine itself" in str(forbidden)
    assert isinstance(await bench.send(server), RetryLater)


async def test_one_wrong_recipient_does_not_make_the_others_get_it_twice() -> None:
    """Who was taken has it."""
    async with serving(starttls=server_tls()) as server:
        server.refused = ("gone@fennel-quay.example",)
        outcome = await Bench().send(server, recipients=("gone@fennel-quay.example", "here@fennel-quay.example"))
    assert isinstance(outcome, Delivered)
    assert outcome.answer == "taken; but not for gone@fennel-quay.example (550 nobody of that name)"
    assert len(server.mails) == 1


async def test_who_is_put_off_gets_it_later_and_nobody_waits_for_that() -> None:
    """Greylisting of one of two: the other has each mail at once, the one put off has all of it as one, once."""
    clock = FakeClock()
    bench = Bench(clock)
    here, new = "here@fennel-quay.example", "new@fennel-quay.example"
    async with serving(starttls=server_tls()) as server:
        server.put_off = (new,)
        outlet = bench.outlet(server, recipients=(here, new))
        async with running(bench, outlet) as house:
            for sent in (1, 2):
                await happen(bench)
                await until(lambda sent=sent: len(server.mails) == sent and house.state("office").state == "idle")
            await clock.advance(290)
            assert server.envelopes == [[here], [here]]
            await clock.advance(40)
            await until(lambda: outlet._put_off.due(1e9)[0].tries == 2)  # tried, and put off once more
            server.put_off = ()
            await happen(bench, kind="tamper")
            await until(lambda: len(server.mails) == 3)
            await clock.advance(960)
            await until(lambda: len(server.mails) == 4)
            await clock.advance(7200)
    assert server.envelopes == [[here], [here], [here, new], [new]]
    assert server.mails[3]["Subject"] == "fennel-quay: slip-gate, left open raised and 1 more"
    assert bench.store.journal.all(EventName.OUTLET_FAILING) == []


async def test_a_mailbox_that_stays_full_is_given_up_after_a_day() -> None:
    """And nothing of it is left to be tried."""
    clock = FakeClock()
    bench = Bench(clock)
    async with serving(starttls=server_tls()) as server:
        server.put_off = ("full@fennel-quay.example",)
        outlet = bench.outlet(server, recipients=("here@fennel-quay.example", "full@fennel-quay.example"))
        async with running(bench, outlet):
            await happen(bench)
            await until(lambda: outlet._put_off.due(1e9))
            async with asyncio.timeout(30):
                while outlet._put_off.due(clock.monotonic() + 1e9):
                    await clock.advance(600)
                    await asyncio.sleep(0.005)
    assert clock.monotonic() - 1000 >= 86_400
    assert len(server.mails) == 1


async def test_hostile_text_stays_text() -> None:
    """A sentence with line feeds and header names makes neither headers nor lines of its own."""
    nasty = "x\r\nBcc: all@elsewhere.example\r\n\r\n.\r\nQUIT"
    async with serving(starttls=server_tls()) as server:
        await Bench().send(server, happened(sentence=nasty))
    (mail,) = server.mails
    assert mail["Bcc"] is None
    assert mail.get_content().count("\n") == 1


async def test_late_ones_say_so() -> None:
    """History: between when and when."""
    span = Span(NOON, NOON + timedelta(minutes=9))
    async with serving(starttls=server_tls()) as server:
        await Bench().send(server, happened(late=span))
    (mail,) = server.mails
    assert mail["Subject"].endswith("(found later)")
    assert "between 02 Mar 2026 12:00 +0000 and 02 Mar 2026 12:09 +0000" in mail.get_content()


@asynccontextmanager
async def running(bench: Bench, outlet: MailOutlet) -> AsyncIterator[OutletHouse]:
    house = OutletHouse([outlet], journal=bench.store.journal, outbox=MemoryOutbox(), clock=bench.clock)
    await house.load()
    async with asyncio.TaskGroup() as group:
        task = group.create_task(house.run())
        yield house
        task.cancel()


async def happen(bench: Bench, count: int = 1, kind: str = "left-open") -> None:
    for _ in range(count):
        draft = EventDraft(EventName.CONDITION_RAISED, "slip-gate", {"condition": kind, "sentence": "It stands open."})
        await bench.store.journal.commit(Commit(events=(draft,)))


async def until(true: Any) -> None:
    """In real time, since the server's answers come in that."""
    async with asyncio.timeout(10):
        while not true():
            await asyncio.sleep(0.005)


async def test_no_flood() -> None:
    """Three mails in an hour, then one with all that came since."""
    clock = FakeClock()
    bench = Bench(clock)
    async with serving(starttls=server_tls()) as server, running(bench, bench.outlet(server, most_an_hour=3)) as house:
        for sent in range(1, 4):
            await happen(bench)
            await until(lambda sent=sent: len(server.mails) == sent and house.state("office").state == "idle")
        for _ in range(30):
            await happen(bench)
            await clock.advance(10)
        assert house.state("office").state == "held"
        assert len(server.mails) == 3
        await clock.advance(3600 - 300 + 5)
        await until(lambda: len(server.mails) == 4)
        await until(lambda: house.state("office").lag == 0)
    assert server.mails[3]["Subject"] == "fennel-quay: slip-gate, left open raised and 29 more"
    assert bench.store.journal.all(EventName.OUTLET_FAILING) == []


async def test_what_is_urgent_passes_the_limit_of_the_others() -> None:
    """Three mails went, and the hour is not over: tamper goes at once, up to three times itself."""
    clock = FakeClock()
    bench = Bench(clock)
    urgent = Choice(frozenset({"condition.raised:tamper"}))
    async with serving(starttls=server_tls()) as server:
        outlet = bench.outlet(server, most_an_hour=3, urgent=urgent)
        async with running(bench, outlet) as house:
            for sent in range(1, 4):
                await happen(bench)
                await until(lambda sent=sent: len(server.mails) == sent and house.state("office").state == "idle")
            await happen(bench)
            await clock.advance(60)
            assert len(server.mails) == 3
            for sent in range(4, 7):
                await happen(bench, kind="tamper")
                await clock.advance(10)
                await until(lambda sent=sent: len(server.mails) == sent)
                await until(lambda: house.state("office").lag == 0)
            await happen(bench, kind="tamper")
            await clock.advance(600)
            assert (len(server.mails), house.state("office").state) == (6, "held")


async def test_what_is_urgent_is_seen_behind_a_long_night() -> None:
    """450 events wait, more than two mails take: what was urgent behind them goes out at night with all of it."""
    clock = FakeClock(datetime(2026, 3, 2, 20, 0, tzinfo=UTC))
    bench = Bench(clock)
    urgent = Choice(frozenset({"condition.raised:tamper"}))
    async with serving(starttls=server_tls()) as server:
        outlet = bench.outlet(server, quiet=(time(19, 0), time(23, 0)), urgent=urgent)
        async with running(bench, outlet) as house:
            await happen(bench, 450)
            await clock.advance(300)
            assert (house.state("office").state, server.mails) == ("held", [])
            await happen(bench, kind="tamper")
            await clock.advance(10)
            await until(lambda: len(server.mails) == 3)
            await until(lambda: house.state("office").lag == 0)
            assert server.mails[2]["Subject"] == "fennel-quay: slip-gate, tamper raised and 50 more"
            await happen(bench)
            await clock.advance(300)
            assert (house.state("office").state, len(server.mails)) == ("held", 3)


async def test_quiet_hours_end_when_the_clock_is_put_right() -> None:
    """It was two hours slow: what waited goes out as soon as the wall clock says that the night is over."""
    clock = FakeClock(datetime(2026, 3, 2, 5, 0, tzinfo=UTC))
    bench = Bench(clock)
    async with serving(starttls=server_tls()) as server:
        outlet = bench.outlet(server, quiet=(time(22, 0), time(6, 30)))
        async with running(bench, outlet) as house:
            await happen(bench)
            await clock.advance(120)
            assert (house.state("office").state, server.mails) == ("held", [])
            clock.step_wall(timedelta(hours=2))
            await clock.advance(60)
            await until(lambda: len(server.mails) == 1)


async def test_quiet_hours_gather_and_what_is_urgent_passes() -> None:
    """At 8 in the evening it is quiet until 9: one mail then; tamper goes at once and takes the others along."""
    clock = FakeClock(datetime(2026, 3, 2, 20, 0, tzinfo=UTC))
    bench = Bench(clock)
    urgent = Choice(frozenset({"condition.raised:tamper"}))
    async with serving(starttls=server_tls()) as server:
        outlet = bench.outlet(server, quiet=(time(19, 0), time(21, 0)), urgent=urgent)
        async with running(bench, outlet) as house:
            await happen(bench, 3)
            await clock.advance(1800)
            assert (house.state("office").state, server.mails) == ("held", [])
            await happen(bench, kind="tamper")
            await clock.advance(10)
            await until(lambda: len(server.mails) == 1)
            await until(lambda: house.state("office").lag == 0)
            await happen(bench, 2)
            await clock.advance(1800)
            await until(lambda: len(server.mails) == 2)
    assert [mail["Subject"] for mail in server.mails] == [
        "fennel-quay: slip-gate, tamper raised and 3 more",
        "fennel-quay: slip-gate, left open raised and 1 more",
    ]


async def test_the_digest_comes_once_a_day() -> None:
    """Not on the day that it is set up, then at its time, once, also over a restart; with what happened and stands."""
    clock = FakeClock(datetime(2026, 3, 2, 8, 0, tzinfo=UTC))
    bench = Bench(clock)
    async with serving(starttls=server_tls()) as server:
        for _ in range(2):
            outlet = bench.outlet(server, digest=time(7, 30), choice=Choice(frozenset({"condition.*"})), most_an_hour=1)
            async with running(bench, outlet):
                await clock.advance(3600)
        assert server.mails == []
        await happen(bench, 2)
        async with running(bench, bench.outlet(server, digest=time(7, 30), choice=Choice(frozenset({"link.lost"})))):
            await clock.advance(21.5 * 3600 + 1)
            await until(lambda: len(server.mails) == 1)
            await clock.advance(3600)
        async with running(bench, bench.outlet(server, digest=time(7, 30), choice=Choice(frozenset({"link.lost"})))):
            await clock.advance(3600)
    (mail,) = server.mails
    assert mail["Subject"] == "fennel-quay: digest of 2026-03-03"
    assert "The car-park barrier can't be reached." in mail.get_content()


async def test_no_digest_while_the_date_is_not_known() -> None:
    """A clock that may be wrong sends none."""
    clock = FakeClock(datetime(2026, 3, 2, 8, 0, tzinfo=UTC))
    bench = Bench(clock)
    bench.store.runs.kept["digest office"] = datetime(2026, 3, 1, 7, 30, tzinfo=UTC)
    bench.trust.trusted = False
    async with serving(starttls=server_tls()) as server, running(bench, bench.outlet(server, digest=time(7, 30))):
        await clock.advance(3600)
        assert server.mails == []
        bench.trust.trusted = True
        await clock.advance(31)
        await until(lambda: len(server.mails) == 1)
