"""Delivery in order, at least once, with failures that stop what they must and nothing else."""

from __future__ import annotations

import random
from datetime import timedelta

import pytest
from structlog.testing import capture_logs

from gateway.domain.events import EventDraft, EventId, EventName
from gateway.errors import NotFound, Refused
from gateway.outlets.choice import Choice
from gateway.outlets.runner import DEADLINE_S
from gateway.ports import Commit, Delivered, EventRejected, Held, OutletDisabled, RetryLater
from tests.fakes.outlets import ScriptedOutlet
from tests.unit.outlets.conftest import Bench

_DOWN = RetryLater("It answers 500.", "Look at it.")
_REFUSED = EventRejected("It answers 422.", "Look at it.")


async def test_events_go_out_in_order_as_they_become_durable(bench: Bench) -> None:
    """One after the other, and each carries the number of those before it."""
    outlet = ScriptedOutlet(bench.clock)
    async with bench.running(outlet):
        for _ in range(3):
            await bench.happen()
    assert outlet.numbers == [1, 2, 3]
    assert [parcel.ordinal for _, parcel in outlet.sent] == [1, 2, 3]


async def test_a_new_outlet_begins_now(bench: Bench) -> None:
    """Yesterday is not sent to somebody who is told for the first time; the journal's new beginning is."""
    await bench.happen()
    outlet = ScriptedOutlet(bench.clock)
    async with bench.running(outlet):
        assert outlet.sent == []
    await bench.happen(EventName.JOURNAL_RESTARTED, "")
    other = ScriptedOutlet(bench.clock, "station")
    async with bench.running(other):
        assert other.numbers == [2]


async def test_a_restart_goes_on_where_it_was(bench: Bench) -> None:
    """What happened while the gateway was off is sent; what was delivered is not sent again."""
    outlet = ScriptedOutlet(bench.clock)
    async with bench.running(outlet):
        await bench.happen()
    await bench.happen()
    async with bench.running(outlet):
        await bench.happen()
    assert outlet.numbers == [1, 2, 3]


async def test_after_a_power_cut_an_event_comes_twice_with_one_ordinal(bench: Bench) -> None:
    """At least once: the id and the ordinal are those of the first time, so a receiver can drop it."""
    outlet = ScriptedOutlet(bench.clock)
    async with bench.running(outlet):
        await bench.happen()
    bench.outbox.lose_marks()
    async with bench.running(outlet):
        await bench.happen()
    assert outlet.numbers == [1, 1, 2]
    assert [parcel.ordinal for _, parcel in outlet.sent] == [1, 1, 2]


async def test_a_failing_endpoint_stops_its_own_queue_alone(bench: Bench) -> None:
    """The other outlet has every event at once; the failing one has them in order when it works again."""
    down, well = ScriptedOutlet(bench.clock, "down"), ScriptedOutlet(bench.clock, "well")
    down.always = _DOWN
    async with bench.running(down, well):
        for _ in range(3):
            await bench.happen()
        assert well.numbers[:3] == [1, 2, 3]
        assert down.numbers == [1]
        await bench.clock.advance(5)
        assert down.numbers == [1, 1]
        down.always = Delivered()
        await bench.clock.advance(400)
    assert down.times[:3] == [0, 5, 305]
    assert down.numbers[2:5] == [1, 2, 3]


async def test_a_hanging_outlet_delays_nobody_and_is_cut_off(bench: Bench) -> None:
    """One that never answers is a failing one after the deadline."""
    hangs, well = ScriptedOutlet(bench.clock, "hangs", takes_s=1e6), ScriptedOutlet(bench.clock, "well")
    async with bench.running(hangs, well) as house:
        await bench.happen()
        assert well.times == [0]
        await bench.clock.advance(DEADLINE_S + 1)
        assert house.state("hangs").state == "retrying"
        assert "did not end" in house.state("hangs").problem


async def test_the_other_side_may_ask_for_a_longer_wait(bench: Bench) -> None:
    """Retry-After is the least, not the most."""
    outlet = ScriptedOutlet(bench.clock)
    outlet.answers.extend([RetryLater("Busy.", after_s=60), RetryLater("Busy.", after_s=60)])
    async with bench.running(outlet):
        await bench.happen()
        await bench.clock.advance(1000)
    assert outlet.times[:3] == [0, 60, 360]


async def test_a_refused_event_is_set_aside_after_three_tries_and_order_goes_on(bench: Bench) -> None:
    """It is kept by its number with what was said, and told of."""
    outlet = ScriptedOutlet(bench.clock)
    outlet.answers.extend([_REFUSED] * 3)
    async with bench.running(outlet) as house:
        await bench.happen()
        await bench.happen()
        await bench.clock.advance(60)
        (aside,) = await house.set_asides("harbour-desk")
    assert outlet.numbers == [1, 1, 1, 2]
    assert (aside.number, aside.problem) == (1, "It answers 422.")
    (told,) = bench.told()
    assert told.name is EventName.OUTLET_SET_ASIDE
    assert told.data["number"] == 1
    assert house.state("harbour-desk").row.set_aside == 1


async def test_an_endpoint_that_refuses_everything_does_not_make_events_for_ever(bench: Bench) -> None:
    """Two outlets that refuse all, each told of the other, come to rest."""
    one, two = ScriptedOutlet(bench.clock, "one"), ScriptedOutlet(bench.clock, "two")
    one.always = two.always = _REFUSED
    async with bench.running(one, two) as house:
        for _ in range(5):
            await bench.happen()
        await bench.clock.advance(3600)
        assert [state.lag for state in house.states()] == [0, 0]
    assert len(bench.told()) <= 2


async def test_failing_and_recovered_are_told_once_per_change(bench: Bench) -> None:
    """Ten tries in vain are one event; a single lost try is none."""
    outlet = ScriptedOutlet(bench.clock, choice=Choice(frozenset({"input.changed"})))
    outlet.answers.append(_DOWN)
    async with bench.running(outlet):
        await bench.happen()
        await bench.clock.advance(10)
        assert bench.told() == []
        outlet.answers.extend([_DOWN] * 10)
        await bench.happen()
        await bench.clock.advance(7200)
    failing, recovered = bench.told()
    assert failing.name is EventName.OUTLET_FAILING
    assert failing.data == {
        "outlet": "harbour-desk",
        "kind": "webhook",
        "problem": "It answers 500.",
        "remedy": "Look at it.",
        "disabled": False,
    }
    assert recovered.name is EventName.OUTLET_RECOVERED
    assert recovered.data["failed_s"] == 9 * 300


async def test_failing_is_told_later_when_the_journal_could_not_take_it(bench: Bench) -> None:
    """A full disk delays the news, it does not swallow it."""
    outlet = ScriptedOutlet(bench.clock, choice=Choice(frozenset({"input.changed"})))
    outlet.always = _DOWN
    async with bench.running(outlet) as house:
        await bench.happen()
        bench.journal.full = True
        await bench.clock.advance(6)
        assert house.state("harbour-desk").row.failing_since is None
        bench.journal.full = False
        await bench.clock.advance(400)
    assert [event.name for event in bench.told()] == [EventName.OUTLET_FAILING]


async def test_a_day_of_a_full_disk_and_a_dead_station_is_a_handful_of_log_lines(bench: Bench) -> None:
    """Reliability goal R10: first and last are told, not each try; what is to be kept is tried all the same."""
    dead = ScriptedOutlet(bench.clock, "station", choice=Choice(frozenset({"input.changed"})))
    dead.always, dead.steps = _DOWN, (60.0,)
    picky = ScriptedOutlet(bench.clock, "picky", choice=Choice(frozenset({"input.changed"})))
    picky.always = EventRejected("It does not want this.")
    well = ScriptedOutlet(bench.clock, "well", choice=Choice(frozenset({"input.changed"})))
    with capture_logs() as lines:
        async with bench.running(dead, picky, well):
            await bench.happen()
            bench.journal.full = bench.outbox.full = True
            await bench.clock.advance(24 * 3600)
            assert len(lines) <= 6
            assert len(dead.sent) > 1400
            bench.journal.full = bench.outbox.full = False
            dead.always = Delivered()
            await bench.clock.advance(120)
    assert [event.name for event in bench.told()].count(EventName.OUTLET_SET_ASIDE) == 1
    assert [each.outlet for each in bench.outbox.kept] == ["picky"]
    assert len(lines) <= 9


async def test_a_disabled_outlet_sends_nothing_until_somebody_replays(bench: Bench) -> None:
    """Also after a restart; another address in the settings starts clean."""
    outlet = ScriptedOutlet(bench.clock)
    outlet.answers.append(OutletDisabled("It answers 410."))
    async with bench.running(outlet) as house:
        await bench.happen()
        await bench.clock.advance(90_000)
        assert (house.state("harbour-desk").state, outlet.numbers) == ("disabled", [1])
    assert [event.data["disabled"] for event in bench.told()] == [True]
    async with bench.running(outlet) as house:
        await bench.clock.advance(10)
        assert outlet.numbers == [1]
        await house.replay("harbour-desk", EventId("m1", 1))
        await bench.clock.settle()
    assert outlet.numbers[1] == 1


async def test_another_address_is_not_disabled(bench: Bench) -> None:
    """410 was said by the old one."""
    outlet = ScriptedOutlet(bench.clock)
    outlet.answers.append(OutletDisabled("It answers 410."))
    async with bench.running(outlet):
        await bench.happen()
    moved = ScriptedOutlet(bench.clock)
    moved.place = "https://other.fennel-quay.example/events"
    async with bench.running(moved):
        assert moved.numbers[0] == 1


async def test_a_replay_goes_back_even_while_an_answer_is_on_its_way(bench: Bench) -> None:
    """The answer to the old try doesn't move the cursor that a person has just set."""
    outlet = ScriptedOutlet(bench.clock)
    async with bench.running(outlet) as house:
        await bench.happen()
        await bench.happen()
        outlet.takes_s = 10
        await bench.happen()
        await house.replay("harbour-desk", EventId("m1", 2))
        outlet.takes_s = 0
        await bench.clock.advance(20)
    assert outlet.numbers == [1, 2, 3, 2, 3]


async def test_a_replay_beyond_the_journal_is_refused(bench: Bench) -> None:
    """Another epoch, a number not kept, an outlet that is none: each says what there is."""
    async with bench.running(ScriptedOutlet(bench.clock)) as house:
        await bench.happen()
        for wrong in (EventId("other", 1), EventId("m1", 0), EventId("m1", 3)):
            with pytest.raises(Refused, match="m1-1 to m1-1"):
                await house.replay("harbour-desk", wrong)
        with pytest.raises(NotFound, match="harbour-desk"):
            await house.replay("nobody", EventId("m1", 1))


async def test_what_the_journal_forgot_is_counted(bench: Bench) -> None:
    """An endpoint that stays away longer than the journal keeps events loses them, and people can see how many."""
    outlet = ScriptedOutlet(bench.clock)
    async with bench.running(outlet):
        pass
    for _ in range(10):
        await bench.happen()
    bench.journal.prune(keep=3)
    async with bench.running(outlet) as house:
        assert outlet.numbers == [8, 9, 10]
        assert house.state("harbour-desk").row.lost == 7


async def test_a_fault_of_ours_in_one_outlet_sets_that_event_aside(bench: Bench) -> None:
    """Neither the daemon nor the other outlets end with it."""
    outlet, well = ScriptedOutlet(bench.clock), ScriptedOutlet(bench.clock, "well")
    outlet.answers.extend([ZeroDivisionError(), ZeroDivisionError(), ZeroDivisionError()])
    async with bench.running(outlet, well):
        await bench.happen()
        await bench.happen()
        await bench.clock.advance(60)
    assert outlet.numbers[:4] == [1, 1, 1, 2]
    assert well.numbers[:2] == [1, 2]
    assert "ZeroDivisionError" in bench.outbox.kept[0].problem


async def test_a_fault_of_ours_has_one_trace_however_many_events_it_hits(bench: Bench) -> None:
    """And a new one after something was delivered."""
    outlet = ScriptedOutlet(bench.clock)
    outlet.answers.extend([ValueError("boom")] * 12 + [Delivered()] + [ValueError("boom")] * 4)
    with capture_logs() as lines:
        async with bench.running(outlet):
            for _ in range(6):
                await bench.happen()
            await bench.clock.advance(600)
    assert [line["event"] for line in lines].count("outlet.fault") == 2
    assert len(bench.outbox.kept) == 5
    assert all(line["exc_info"] for line in lines if line["event"] == "outlet.fault")


async def test_held_is_no_failure_and_ends_in_its_time(bench: Bench) -> None:
    """Nothing is told, the state says why."""
    outlet = ScriptedOutlet(bench.clock)
    outlet.answers.append(Held("Quiet hours.", 3600))
    async with bench.running(outlet) as house:
        await bench.happen()
        await bench.clock.advance(3599)
        assert (house.state("harbour-desk").state, len(outlet.sent)) == ("held", 1)
        assert house.state("harbour-desk").problem == "Quiet hours."
        await bench.clock.advance(2)
        assert house.state("harbour-desk").state == "idle"
    assert outlet.numbers == [1, 1]
    assert bench.told() == []


async def test_something_new_ends_a_hold(bench: Bench) -> None:
    """It may be urgent; many at once are looked at together."""
    outlet = ScriptedOutlet(bench.clock)
    outlet.always = Held("Quiet hours.", 3600)
    async with bench.running(outlet):
        await bench.happen()
        await bench.clock.advance(100)
        for _ in range(20):
            await bench.happen()
        await bench.clock.advance(10)
    assert 2 <= len(outlet.sent) <= 4


async def test_a_connection_that_is_back_ends_the_wait(bench: Bench) -> None:
    """The outlet knows better than the schedule."""
    outlet = ScriptedOutlet(bench.clock)
    outlet.answers.append(_DOWN)
    async with bench.running(outlet):
        await bench.happen()
        assert outlet.report is not None
        await bench.clock.advance(1)
        await outlet.report(Delivered())
        await bench.clock.settle()
    assert outlet.times == [0, 1]


async def test_a_lost_connection_is_told_without_any_event_on_its_way(bench: Bench) -> None:
    """At the second report, once; and that it is back, once."""
    outlet = ScriptedOutlet(bench.clock, choice=Choice(frozenset({"link.lost"})))
    async with bench.running(outlet) as house:
        assert outlet.report is not None
        await outlet.report(_DOWN)
        assert (bench.told(), house.state("harbour-desk").state) == ([], "retrying")
        for _ in range(3):
            await outlet.report(_DOWN)
        await outlet.report(Delivered())
        await outlet.report(Delivered())
        assert house.state("harbour-desk").state == "idle"
    assert [event.name for event in bench.told()] == [EventName.OUTLET_FAILING, EventName.OUTLET_RECOVERED]


async def test_a_restart_waits_only_the_first_step(bench: Bench) -> None:
    """Whatever wall time says: a clock that jumped must not hold events back for days."""
    outlet = ScriptedOutlet(bench.clock)
    outlet.always = _DOWN
    async with bench.running(outlet):
        await bench.happen()
        await bench.clock.advance(6)
    bench.clock.step_wall(timedelta(days=-14))
    before = len(outlet.sent)
    async with bench.running(outlet):
        await bench.clock.advance(4.9)
        assert len(outlet.sent) == before
        await bench.clock.advance(0.2)
        assert len(outlet.sent) == before + 1


async def test_each_kind_is_sent_once_as_a_test(bench: Bench) -> None:
    """Marked as one, with ids no journal gives; what can't be tried any more is said so."""
    outlet = ScriptedOutlet(bench.clock)
    async with bench.running(outlet) as house:
        outcomes = await bench.clock.run(house.test("harbour-desk"))
        assert [outcome.outcome for outcome in outcomes] == ["delivered", "delivered"]
        assert all(parcel.test and parcel.event.data["test"] is True for _, parcel in outlet.sent)
        assert all(parcel.event.id.epoch.startswith("test") for _, parcel in outlet.sent)
        outlet.answers.extend([_REFUSED, _DOWN])
        outcomes = await bench.clock.run(house.test("harbour-desk"))
        assert [outcome.outcome for outcome in outcomes] == ["rejected", "failed"]
        outlet.answers.append(_DOWN)
        outcomes = await bench.clock.run(house.test("harbour-desk"))
        assert [outcome.outcome for outcome in outcomes] == ["failed", "not-tried"]
    assert bench.told() == []


async def test_ten_thousand_events_through_an_endpoint_that_fails_three_in_ten(bench: Bench) -> None:
    """Reliability goal R5: none lost, in order, retries keep id and ordinal, nobody else waits."""
    dice = random.Random(20)
    flaky = ScriptedOutlet(bench.clock, "flaky", choice=Choice(frozenset({"input.changed"})))
    well = ScriptedOutlet(bench.clock, "well", choice=Choice(frozenset({"input.changed"})))
    flaky.answers.extend(_DOWN if dice.random() < 0.3 else Delivered() for _ in range(20_000))
    async with bench.running(flaky, well) as house:
        for number in range(10_000):
            await bench.journal.commit(_commit(("slip-gate", "car-park", "workshop")[number % 3]))
        await bench.clock.settle()
        assert house.state("well").state == "idle"
        assert well.times[-1] == 0
        await bench.clock.advance(30 * 86_400)
    delivered = list(dict.fromkeys(flaky.numbers))
    assert delivered == [event.id.number for event in bench.journal.all(EventName.INPUT_CHANGED)]
    assert flaky.numbers == sorted(flaky.numbers)
    assert len(flaky.numbers) > 13_000
    ordinals = {parcel.event.id.number: parcel.ordinal for _, parcel in flaky.sent}
    assert sorted(ordinals.values()) == list(range(1, 10_001))
    assert all(parcel.ordinal == ordinals[parcel.event.id.number] for _, parcel in flaky.sent)


def _commit(receiver: str) -> Commit:
    return Commit(events=(EventDraft(EventName.INPUT_CHANGED, receiver, {"input": 1}),))
