"""What holds: one rule for each kind of condition, each a pure function of the premises, the state and the moment.

A rule yields a `Verdict` for everything that it is about. A verdict says from when on it counts (`due`), so that the
same rule tells what is to be raised now and when to look again. Where a rule can't judge, because a receiver can't be
read, it keeps what is open and raises nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field

from gateway.domain.condition import ConditionKind
from gateway.domain.gate import Contact, Gate, InputRole
from gateway.domain.live import LinkState
from gateway.watch.conditions.premises import Premises
from gateway.watch.conditions.seeing import EXPLAINED_AFTER_S
from gateway.watch.conditions.state import GateFacts, Moment, State

__all__ = ["RULES", "Tick", "Verdict", "is_down", "is_read"]

_DOWN = frozenset({LinkState.SILENT, LinkState.PORT_LOST, LinkState.PORT_BUSY})
_DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Tick:
    """What is so at this moment beside the state: the time, and which transmitters are revoked."""

    now: Moment
    revoked: Collection[int] = field(default_factory=frozenset)


@dataclass(frozen=True, slots=True)
class Verdict:
    """Something holds: from `due` on (in seconds like `Moment.at`) until `until`.

    With `keep` nothing can be judged now: what is open stays open, and nothing is raised. `subject` is unique among
    the conditions of its kind.
    """

    kind: ConditionKind
    subject: str
    since: Moment
    due: float = -math.inf
    until: float = math.inf
    keep: bool = False
    receiver: str = ""
    gate: str = ""
    line: str = ""
    input: int | None = None
    output: int | None = None
    serial: int | None = None
    count: int | None = None

    @property
    def key(self) -> str:
        return f"{self.kind}:{self.subject}"


Rule = Callable[[Premises, State, Tick], Iterator[Verdict]]


def is_read(state: State, *receivers: str) -> bool:
    """Whether all of these receivers are read, so that what their inputs last said is true now."""
    return all(name in state.links and state.links[name].state is LinkState.ONLINE for name in receivers)


def is_down(link: LinkState) -> bool:
    """Whether the receiver can't be reached."""
    return link in _DOWN


# --- gates ---


def _left_open(premises: Premises, state: State, tick: Tick) -> Iterator[Verdict]:
    for gate, facts, keep in _gates(premises, state):
        if gate.stay_open_limit_s is not None and facts.opened is not None:
            due = facts.opened.at + gate.stay_open_limit_s
            yield _of_gate(ConditionKind.LEFT_OPEN, gate, facts.opened, due=due, keep=keep)


def _unanswered(premises: Premises, state: State, tick: Tick) -> Iterator[Verdict]:
    for gate, facts, keep in _gates(premises, state):
        if facts.expects is not None:
            kind = ConditionKind.DID_NOT_OPEN if facts.expects.opening else ConditionKind.DID_NOT_CLOSE
            since, output = facts.expects.since, facts.expects.output
            due = since.at + gate.travel_s + premises.limits.travel_margin_s
            yield _of_gate(kind, gate, since, due=due, keep=keep, output=output)


def _opened_without_command(premises: Premises, state: State, tick: Tick) -> Iterator[Verdict]:
    for gate, facts, keep in _gates(premises, state):
        if facts.unexplained is not None:
            due = facts.unexplained.at + EXPLAINED_AFTER_S
            yield _of_gate(ConditionKind.OPENED_WITHOUT_COMMAND, gate, facts.unexplained, due=due, keep=keep)


def _contradict(premises: Premises, state: State, tick: Tick) -> Iterator[Verdict]:
    for gate, _, keep in _gates(premises, state):
        closed = [state.contacts.get(each.key) for each in gate.contacts_of(InputRole.CLOSED)]
        opened = [state.contacts.get(each.key) for each in gate.contacts_of(InputRole.OPEN)]
        if not closed or any(each is None or each.violated for each in closed):
            continue
        if any(each is not None and each.violated for each in opened):
            known = [each.since for each in (*closed, *opened) if each is not None and each.since is not None]
            since = max(known, key=lambda moment: moment.at, default=tick.now)
            due = since.at + premises.limits.contradict_s if known else -math.inf
            yield _of_gate(ConditionKind.CONTACTS_CONTRADICT, gate, since, due=due, keep=keep)


def _service_due(premises: Premises, state: State, tick: Tick) -> Iterator[Verdict]:
    for gate, facts, _ in _gates(premises, state):
        if gate.service_cycles is not None and facts.cycles >= gate.service_cycles:
            yield _of_gate(ConditionKind.SERVICE_DUE, gate, tick.now, count=facts.cycles)


def _gates(premises: Premises, state: State) -> Iterator[tuple[Gate, GateFacts, bool]]:
    """Each gate with what is known of it, and whether it can't be judged now."""
    for gate in premises.gates:
        yield gate, state.gate(gate.name), not is_read(state, *gate.receivers)


def _of_gate(
    kind: ConditionKind,
    gate: Gate,
    since: Moment,
    *,
    due: float = -math.inf,
    keep: bool = False,
    output: int | None = None,
    count: int | None = None,
) -> Verdict:
    return Verdict(
        kind, gate.name, since, due, keep=keep, receiver=gate.receiver, gate=gate.name, output=output, count=count
    )


# --- contacts ---


def _chatter(premises: Premises, state: State, tick: Tick) -> Iterator[Verdict]:
    for key, facts in state.contacts.items():
        receiver, _, number = key.rpartition("/")
        if facts.chatter is not None:
            contact = premises.contact_by_key.get(key)
            yield Verdict(
                ConditionKind.CHATTER,
                key,
                facts.chatter,
                until=facts.chatter.at + premises.limits.chatter_quiet_s,
                keep=not is_read(state, receiver),
                receiver=receiver,
                gate=contact.gate if contact else "",
                input=int(number),
            )


def _level_rule(kind: ConditionKind, role: InputRole, delay: Callable[[Premises], float]) -> Rule:
    """A contact of this role is violated for so long."""

    def rule(premises: Premises, state: State, tick: Tick) -> Iterator[Verdict]:
        for contact in premises.contacts:
            facts = state.contacts.get(contact.key)
            if contact.role is role and facts is not None and facts.violated:
                since = facts.since or tick.now
                due = since.at + delay(premises) if facts.since is not None else -math.inf
                yield _of_contact(kind, contact, since, due, keep=not is_read(state, contact.receiver))

    return rule


def _of_contact(kind: ConditionKind, contact: Contact, since: Moment, due: float, *, keep: bool) -> Verdict:
    return Verdict(
        kind,
        contact.key,
        since,
        due,
        keep=keep,
        receiver=contact.receiver,
        gate=contact.gate,
        input=contact.number,
    )


# --- receivers and lines ---


def _silent(premises: Premises, state: State, tick: Tick) -> Iterator[Verdict]:
    for receiver, link in state.links.items():
        if is_down(link.state) or link.state is LinkState.CONNECTING:
            due = link.since.at + premises.limits.silent_s
            keep = link.state is LinkState.CONNECTING
            yield Verdict(ConditionKind.RECEIVER_SILENT, receiver, link.since, due, keep=keep, receiver=receiver)


def _noisy(premises: Premises, state: State, tick: Tick) -> Iterator[Verdict]:
    limits = premises.limits
    for line, samples in state.lines.items():
        if len(samples) < 2:
            continue
        sent, spoilt = samples[-1].sent - samples[0].sent, samples[-1].spoilt - samples[0].spoilt
        is_open = f"{ConditionKind.LINE_NOISY}:{line}" in state.open
        if sent < limits.noise_frames:
            yield Verdict(ConditionKind.LINE_NOISY, line, tick.now, keep=True, line=line)
            continue
        percent = 100 * spoilt / sent
        if percent >= (limits.noise_percent / 2 if is_open else limits.noise_percent):
            yield Verdict(ConditionKind.LINE_NOISY, line, tick.now, line=line, count=round(percent))


# --- people and the gateway ---


def _happenings(premises: Premises, state: State, tick: Tick) -> Iterator[Verdict]:
    for key, each in state.happened.items():
        yield Verdict(
            each.kind,
            key.partition(":")[2],
            each.since,
            receiver=each.receiver,
            serial=each.serial,
            count=each.count,
        )


def _unused(premises: Premises, state: State, tick: Tick) -> Iterator[Verdict]:
    days = premises.limits.unused_days
    if days is None:
        return
    for serial, heard in state.heard.items():
        due = heard.at + days * _DAY_S
        yield Verdict(ConditionKind.TRANSMITTER_UNUSED, f"{serial:010d}", heard, due, serial=serial, count=days)


def _clock(premises: Premises, state: State, tick: Tick) -> Iterator[Verdict]:
    if state.clock_lost is not None:
        due = state.clock_lost.at + premises.limits.clock_s
        yield Verdict(ConditionKind.CLOCK_UNTRUSTED, "gateway", state.clock_lost, due)


#: Every rule, by the kinds that it yields.
RULES: Mapping[tuple[ConditionKind, ...], Rule] = {
    (ConditionKind.LEFT_OPEN,): _left_open,
    (ConditionKind.DID_NOT_OPEN, ConditionKind.DID_NOT_CLOSE): _unanswered,
    (ConditionKind.OPENED_WITHOUT_COMMAND,): _opened_without_command,
    (ConditionKind.CONTACTS_CONTRADICT,): _contradict,
    (ConditionKind.CHATTER,): _chatter,
    (ConditionKind.TAMPER,): _level_rule(ConditionKind.TAMPER, InputRole.TAMPER, lambda p: p.limits.tamper_s),
    (ConditionKind.SAFETY_VIOLATED,): _level_rule(
        ConditionKind.SAFETY_VIOLATED, InputRole.SAFETY, lambda p: p.limits.safety_s
    ),
    (ConditionKind.POWER_LOST,): _level_rule(ConditionKind.POWER_LOST, InputRole.POWER, lambda p: p.limits.power_s),
    (ConditionKind.RECEIVER_SILENT,): _silent,
    (ConditionKind.LINE_NOISY,): _noisy,
    (
        ConditionKind.UNKNOWN_REPEATED,
        ConditionKind.REVOKED_USED,
        ConditionKind.BOARD_RESET,
        ConditionKind.DRIFT_OPEN,
        ConditionKind.BATTERY_LOW,
    ): _happenings,
    (ConditionKind.TRANSMITTER_UNUSED,): _unused,
    (ConditionKind.SERVICE_DUE,): _service_due,
    (ConditionKind.CLOCK_UNTRUSTED,): _clock,
}
