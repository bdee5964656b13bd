"""What is open against what holds: the conditions that are raised and cleared by it, each once.

Pure. A condition is raised when a rule's verdict counts and none with its key is open, and cleared when none counts
any more; so raised and cleared alternate for each key whatever the events are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from gateway.domain.condition import CONDITIONS, Acknowledgement, Condition, ConditionKind, Ending
from gateway.errors import NotFound, Refused
from gateway.watch.conditions.premises import Premises
from gateway.watch.conditions.rules import RULES, Tick, Verdict
from gateway.watch.conditions.state import State
from gateway.watch.conditions.words import condition_sentence

__all__ = ["RECENT", "Settled", "acknowledge", "settle"]

#: How many cleared conditions are remembered for those who look; the journal has them all. Our choice.
RECENT = 50


@dataclass(frozen=True, slots=True)
class Settled:
    """The state after it, what was raised and cleared by it, and when to look again (inf: nothing is due)."""

    state: State
    raised: tuple[Condition, ...] = ()
    cleared: tuple[Condition, ...] = ()
    due: float = math.inf


def settle(
    premises: Premises, state: State, tick: Tick, *, epoch: str, visited: frozenset[str] = frozenset()
) -> Settled:
    """Compare. `epoch` begins the ids that are given out; `visited` are the receivers that people work at."""
    state = _without_lifted(state, tick)
    wanted, due = _wanted(premises, state, tick)
    over = {key for key, each in state.open.items() if _outlasts(each, visited)}
    cleared = tuple(
        replace(each, cleared=tick.now.time) for key, each in state.open.items() if key not in wanted or key in over
    )
    fresh = [verdict for key, verdict in wanted.items() if key not in state.open or key in over]
    if not fresh and not cleared:
        return Settled(state, due=due)
    given = state.given
    still_open = {key: each for key, each in state.open.items() if key in wanted and key not in over}
    raised = []
    for verdict in fresh:
        given += 1
        found = _condition(premises, verdict, tick, f"{epoch}-c{given}", visited)
        raised.append(found)
        still_open[verdict.key] = found
    recent = (*cleared, *state.recent)[:RECENT]
    return Settled(replace(state, given=given, open=still_open, recent=recent), tuple(raised), cleared, due)


def acknowledge(state: State, condition_id: str, acknowledgement: Acknowledgement) -> tuple[State, Condition]:
    """Take note of an open condition. Raises NotFound, and Refused with `condition-cleared`, `acknowledged-already`."""
    found = next((each for each in state.open.values() if each.id == condition_id), None)
    if found is None:
        if any(each.id == condition_id for each in state.recent):
            raise Refused(
                "This condition was cleared already.", remedy="Nothing needs to be done.", code="condition-cleared"
            )
        raise NotFound("No open condition has this id.", remedy="List the conditions to see those that are open.")
    if found.acknowledged is not None:
        raise Refused(
            "Somebody has taken note of this condition already.",
            remedy="Read it to see who and when; it is cleared when the state that it tells of ends.",
            code="acknowledged-already",
        )
    found = replace(found, acknowledged=acknowledgement)
    state = replace(state, open={**state.open, found.key: found})
    if CONDITIONS[found.kind].ending is Ending.ACKNOWLEDGED:
        state = _ended(state, found)
    return state, found


def _without_lifted(state: State, tick: Tick) -> State:
    """A use of what is no longer revoked is forgotten, so that revoking it again brings no old alarm back."""
    lifted = {
        key
        for key, each in state.happened.items()
        if each.kind is ConditionKind.REVOKED_USED and each.serial not in tick.revoked
    }
    if not lifted:
        return state
    return replace(state, happened={key: each for key, each in state.happened.items() if key not in lifted})


def _outlasts(condition: Condition, visited: frozenset[str]) -> bool:
    """A state that was told as a test and is still there when people have gone: it is raised once more, in earnest."""
    lasts = CONDITIONS[condition.kind].ending is Ending.BY_ITSELF
    return condition.visit and lasts and condition.receiver not in visited


def _ended(state: State, condition: Condition) -> State:
    """The state without what the condition told of: noted, or, for a service, done."""
    if condition.kind is ConditionKind.SERVICE_DUE:
        return state.with_gate(condition.gate, replace(state.gate(condition.gate), cycles=0))
    return replace(state, happened={key: each for key, each in state.happened.items() if key != condition.key})


def _wanted(premises: Premises, state: State, tick: Tick) -> tuple[dict[str, Verdict], float]:
    """The verdicts that count now, and when the next one will begin or cease to."""
    wanted: dict[str, Verdict] = {}
    due = math.inf
    now = tick.now.at
    for rule in RULES.values():
        for verdict in rule(premises, state, tick):
            if verdict.keep:
                if verdict.key in state.open:
                    wanted[verdict.key] = verdict
            elif verdict.due > now:
                due = min(due, verdict.due)
            elif verdict.until > now:
                wanted[verdict.key] = verdict
                due = min(due, verdict.until)
    return wanted, due


def _condition(premises: Premises, verdict: Verdict, tick: Tick, new_id: str, visited: frozenset[str]) -> Condition:
    return Condition(
        id=new_id,
        key=verdict.key,
        kind=verdict.kind,
        sentence=condition_sentence(premises, verdict),
        since=verdict.since.time,
        raised=tick.now.time,
        receiver=verdict.receiver,
        gate=verdict.gate,
        line=verdict.line,
        input=verdict.input,
        output=verdict.output,
        serial=verdict.serial,
        count=verdict.count,
        visit=verdict.receiver in visited,
    )
