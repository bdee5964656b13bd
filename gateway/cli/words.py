"""Sentences for people: receivers, events and plans as the commands print them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from gateway.domain.settings_words import settings_words
from gateway.domain.wait import BOARD_RESET, RESET, why_it_waits

__all__ = [
    "LINKS",
    "REFUSING_LINKS",
    "counted",
    "date_change_sentence",
    "event_sentence",
    "plan_sentence",
    "receiver_sentence",
    "result_sentence",
    "visit_words",
    "wait_sentence",
]

LINKS = {
    "connecting": "not heard yet since the start",
    "online": "answers",
    "silent": "does not answer",
    "port-lost": "its port is gone",
    "port-busy": "its port is held by another program",
    "password-refused": "refuses the link password",
    "wrong-receiver": "another receiver answers in its place",
    "by-hand": "has no line and is worked by hand",
}


#: States of a line that works and of a receiver that says no, or is not the one that is meant.
REFUSING_LINKS = frozenset({"password-refused", "wrong-receiver"})


def counted(number: int, noun: str) -> str:
    """A number with its noun: 1 slot, 2 slots."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def receiver_sentence(receiver: Mapping[str, Any], status: Mapping[str, Any]) -> str:
    """One receiver's state in a sentence or two."""
    words = f"{receiver['id']} {LINKS.get(receiver['link'], receiver['link'])}"
    if receiver["link"] == "by-hand":
        return f"{words}; {visit_words(receiver['visit'])}."
    if not status["current"]:
        age = status["age_s"]
        words += ", its state is unknown" if age is None else f", last heard {_ago(age)}; its state is unknown"
        return words + "."
    outputs = [f"{o['name']} {'on' if o['closed'] else 'off'}" for o in status["outputs"] if o["name"]]
    inputs = [f"{i['name']} {i['state']}" for i in status["inputs"] if i["name"]]
    parts = [f"outputs: {', '.join(outputs)}" if outputs else "", f"inputs: {', '.join(inputs)}" if inputs else ""]
    return f"{words}; " + "; ".join(part for part in parts if part) + "."


def visit_words(visit: Mapping[str, Any]) -> str:
    """How the visit sheet of a receiver without a line stands."""
    if not visit["holdings_known"]:
        return "nobody has said yet what it holds (gatepost visit-sheet holds)"
    lines = {0: "nothing is open", 1: "1 line is open"}.get(visit["open"], f"{visit['open']} lines are open")
    owed = {0: "", 1: ", 1 revocation is owed at the next visit"}.get(
        visit["owed"], f", {visit['owed']} revocations are owed at the next visit"
    )
    return f"{lines} on its visit sheet{owed}"


def wait_sentence(waiting: Mapping[str, Any] | None) -> str:
    """That the roster waits at a receiver and what ends it; empty when it does not wait."""
    if waiting is None:
        return ""
    if waiting["snapshot_approved"]:
        return "What it holds was approved; it stays until another roster is accepted."
    why = why_it_waits(waiting["reason"], waiting["snapshot"])
    said = f"The roster waits until somebody approves (gatepost snapshot approve): {why}."
    if waiting["reason"] in (RESET, BOARD_RESET) and waiting["snapshot"]:
        said += f" What it held: gatepost snapshot restore {waiting['snapshot']} --settings."
    return said


def _ago(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s ago"
    return f"{seconds / 60:.0f} min ago" if seconds < 5400 else f"{seconds / 3600:.0f} h ago"


def date_change_sentence(change: Mapping[str, Any], time: str) -> str:
    """When dates next change something, `time` as people read it, and for how many."""
    parts = [f"{change[what]} {what}" for what in ("begin", "end") if change[what]]
    return f"The next change by date is {time}: {' and '.join(parts)}."


def who_words(plan: Mapping[str, Any]) -> str:
    """How many gain and how many lose something; one who does both is counted twice."""
    parts = [
        f"{plan[key]} {verb if plan[key] == 1 else verb.removesuffix('s')}"
        for key, verb in (("gaining", "gains"), ("losing", "loses"))
        if plan[key]
    ]
    return f"{' and '.join(parts)} something" if parts else "nobody gains or loses anything"


def plan_sentence(plan: Mapping[str, Any]) -> str:
    """What a plan does, in one sentence."""
    if not plan["added"] + plan["changed"] + plan["removed"]:
        stands = {0: "it holds no transmitter, as the roster says", 1: "its one transmitter stands as the roster says"}
        words = stands.get(plan["unchanged"], f"all {plan['unchanged']} transmitters stand as the roster says")
        if left_out := len(plan.get("left_out") or ()):
            stay = counted(plan["unchanged"], "transmitter")
            words = f"{stay} as before, and {counted(left_out, 'thing')} left out: gatepost roster preview says what"
        return f"{plan['receiver']}: nothing to do, {words}."
    how = "to be done by hand" if plan["by_hand"] else f"about {max(plan['wire_s'], 0.1):.1f} s on the wire"
    words = (
        f"{plan['receiver']}: {plan['added']} added, {plan['changed']} changed, {plan['removed']} removed, "
        f"{plan['unchanged']} unchanged; {who_words(plan)}; {how}"
    )
    return words + (f". Held: {plan['hold']}" if plan["hold"] else ".")


def result_sentence(plan: Mapping[str, Any]) -> str:
    """How a plan ended, and what to do where it did not end well."""
    written = plan["added"] + plan["changed"] + plan["removed"]
    if plan["state"] == "applied":
        if written and plan["outcome"]:
            return f"{plan['receiver']}: {plan['outcome']}"
        return plan_sentence(plan) + (f" Receipt {plan['receipt']}." if plan["receipt"] else "")
    if plan["state"] == "held":
        look = f"Look: gatepost plan show {plan['id']}; let it go ahead: gatepost plan approve {plan['id']}"
        return f"{plan_sentence(plan)}\n  {look}"
    if plan["by_hand"] and plan["state"] in ("pending", "applying"):
        return f"{plan_sentence(plan)}\n  It stands on the visit sheet: gatepost visit-sheet show {plan['receiver']}"
    return f"{plan_sentence(plan)}\n  {plan['state']}: {plan['outcome']}"


def _place(data: Mapping[str, Any], noun: str) -> str:
    name = data.get("name")
    return f"{noun} {data.get(noun, '?')}" + (f" ({name})" if name else "")


def _heard(data: Mapping[str, Any]) -> str:
    who = data.get("holder") or ("an unknown transmitter" if not data.get("known") else "a transmitter")
    numbers, names = data.get("outputs") or (), data.get("output_names") or ()
    outputs = ", ".join(name or f"output {number}" for number, name in zip(numbers, names, strict=False))
    position = f" pressed position {data['position']}" if data.get("position") else " was heard"
    works = f", which works {outputs}" if outputs else ", which works nothing here"
    return f"{who} ({data.get('serial', '?')}){position}{works}"


def _slots_were(number: int) -> str:
    return "1 slot was" if number == 1 else f"{number} slots were"


_APPLIED = {
    "restore": "a snapshot was restored and proven",
    "clone": "the snapshot of another receiver was brought here and proven",
    "enrolment": "enrolled transmitters were let in and proven",
    "additions": "brought up to the roster but for what waits for approval, and proven",
}
_PAUSES = {"board-reset": "reset that did not come from here"}


_SENTENCES: dict[str, Callable[[Mapping[str, Any]], str]] = {
    "input.changed": lambda d: f"{_place(d, 'input')} is {'violated' if d.get('violated') else 'normal'}",
    "output.changed": lambda d: f"{_place(d, 'output')} goes {'on' if d.get('closed') else 'off'}",
    "transmitter.heard": _heard,
    "link.lost": lambda d: f"can't be reached: {d.get('problem') or d.get('state', '')}",
    "link.restored": lambda _: "answers again",
    "output.mode_changed": lambda d: (
        f"{_place(d, 'output')} is set to {d.get('mode', '?')}" + (f", before {d['before']}" if d.get("before") else "")
    ),
    "receiver.restarted": lambda _: "has restarted; what it had not told yet is lost",
    "receiver.replaced": lambda d: (
        "the known receiver answers again"
        if d.get("reason") == "returned"
        else f"{d.get('answers') or 'the receiver'} was confirmed as the right one"
        if d.get("confirmed")
        else f"another receiver answers, {d.get('answers') or 'without a serial'} in the place of {d.get('known', '?')}"
    ),
    "ring.overrun": lambda d: f"{d.get('lost') or 'some'} events were lost, its list of events had turned over",
    "slot.changed": lambda d: (
        f"{counted(len(d.get('slots', ())), 'slot')} changed"
        + (" by hand, not proven" if d.get("by_hand") else " in its memory")
    ),
    "settings.changed": lambda d: "; ".join(settings_words(d)),
    "drift.found": lambda d: (
        "its memory was cleared by a reset that did not come from here"
        if d.get("cleared")
        else f"{_slots_were(len(d.get('slots', ())))} changed by other hands; see: gatepost drift list"
    ),
    "drift.decided": lambda d: (
        f"{d.get('asked_by') or 'somebody'} decided about {d.get('serial')}: {d.get('decision')}"
    ),
    "drift.settled": lambda d: f"nothing is left of what was changed for transmitter {d.get('serial')}",
    "plan.applied": lambda d: (
        "its visit sheet is done by hand, not proven"
        if d.get("by_hand")
        else _APPLIED.get(d.get("reason", ""), "brought up to the roster and proven")
    ),
    "plan.refused": lambda d: f"pending changes were refused: {d.get('reason', '')}",
    "plan.held": lambda d: f"pending changes wait for approval: {d.get('hold', '')}",
    "plan.failed": lambda d: f"pending changes could not be finished: {d.get('problem', '')}",
    "roster.fetched": lambda d: f"roster accepted, {counted(d.get('transmitters', 0), 'transmitter')}",
    "roster.refused": lambda d: f"roster refused: {d.get('problem', '')}",
    "roster.unreachable": lambda d: f"roster can't be fetched: {d.get('problem', '')}",
    "revocation.pending": lambda d: (
        f"transmitter {d.get('serial', '?')} is revoked, "
        + ("and there all the same: owed at the next visit" if d.get("by_hand") else "not yet proven everywhere")
    ),
    "revocation.applied": lambda d: (
        f"transmitter {d.get('serial', '?')} is gone, "
        + ("by hand, not proven" if d.get("by_hand") else "proven by reading the memory")
    ),
    "revocation.lifted": lambda d: f"the revocation of {d.get('serial', '?')} was lifted",
    "enrolment.changed": lambda d: d.get("words") or f"enrolment: {d.get('state', '')}",
    "snapshot.taken": lambda d: f"snapshot {d.get('id', d.get('snapshot', ''))} taken",
    "roster.paused": lambda d: (
        f"the roster waits here after a {_PAUSES.get(d.get('reason', ''), d.get('reason') or 'restore')}, "
        "until somebody approves"
    ),
    "roster.resumed": lambda d: f"the roster waits no longer: {d.get('by', '')}",
    "condition.raised": lambda d: f"{d.get('weight', 'condition')}: {d.get('sentence', d.get('condition', ''))}",
    "condition.cleared": lambda d: f"no longer: {d.get('sentence', d.get('condition', ''))}",
    "condition.acknowledged": lambda d: (
        f"{d.get('name', 'somebody')} has taken note: {d.get('sentence', d.get('condition', ''))}"
    ),
    "outlet.failing": lambda d: f"events can't be delivered to {d.get('outlet', '?')}: {d.get('problem', '')}",
    "outlet.recovered": lambda d: f"events are delivered to {d.get('outlet', '?')} again",
    "outlet.set_aside": lambda d: f"{d.get('outlet', '?')} refuses event {d.get('number', '?')}; it is set aside",
    "journal.resumed": lambda d: (
        f"for {d.get('failed_s', '?')} s nothing could be written down: {d.get('problem', '')}"
    ),
    "audit.sealed": lambda d: f"the audit stands at row {d.get('number', '?')}; its seal was sent out",
    "visit.started": lambda d: (
        f"work in progress at {d.get('of') or 'the whole site'} for {counted(d.get('minutes', 0), 'minute')}"
        + (f": {d['reason']}" if d.get("reason") else "")
    ),
    "visit.ended": lambda d: (
        f"work at {d.get('of') or 'the whole site'} is over ({d.get('ended_by', '?')}); "
        f"{counted(d.get('changed_count', 0), 'thing')} changed meanwhile"
    ),
    "output.operated": lambda d: (
        f"{_place(d, 'output')} was operated from afar by {d.get('asked_by', '?')}"
        + ("; it is not known whether it moved" if d.get("outcome") == "unknown" else "")
        + (f": {d['reason']}" if d.get("reason") else "")
    ),
    "clock.untrusted": lambda _: "the gateway's clock is not known to be right; nothing is granted or ended by date",
    "clock.trusted": lambda _: "the gateway's clock is known to be right again",
    "journal.restarted": lambda _: "the list of events began anew",
    "gateway.started": lambda _: "the gateway started",
    "gateway.stopped": lambda _: "the gateway stopped",
}


def event_sentence(event: Mapping[str, Any]) -> str:
    """A CloudEvents document as one line: time, receiver, what happened."""
    name = str(event["type"]).removeprefix("local.gatepost.")
    data = event.get("data") or {}
    tell = _SENTENCES.get(name)
    what = tell(data) if tell else name.replace(".", " ").replace("_", " ")
    time = event.get("time")
    clock = datetime.fromisoformat(time).astimezone().strftime("%H:%M:%S") if time else "--:--:--"
    late = " (found late)" if data.get("late") else ""
    subject = event.get("subject") or "gateway"
    return f"{clock}  {subject:<12} {what}{late}"
