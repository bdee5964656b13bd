"""Which event is which code: the default table, and what an event becomes by it.

Contact ID is `QEEE GG CCC` (ANSI/SIA DC-05): Q 1 for new, 3 for restore; the SIA payload has two letters of DC-03, and
letters of its own for a restore. Neither standard is free to read: what each code means is taken from open tables that
agree with one another (tests/vectors/alarm-codes.csv names them). The account's station has the last word, so every
one can be changed or switched off in the settings.

A key is an event's name, or `condition:<kind>`; `transmitter.heard` has two, `:known` and `:unknown`; `visit:test` is
what is reported while people work there (`visit` in the event's data). An event that ends what another began
(`link.restored`, `condition.cleared`, ...) is that one's restore.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from gateway.domain.condition import ConditionKind
from gateway.domain.events import Event, EventName
from gateway.outlets.choice import condition_of

__all__ = ["DEFAULT_CODES", "OFF_BY_DEFAULT", "VISIT_TEST", "Code", "Coded", "code_key", "coded", "is_code_key"]


@dataclass(frozen=True, slots=True)
class Code:
    """`event` is EEE of Contact ID, `sia` DC-03's letters, `sia_restore` those of its end (empty: it has none)."""

    event: int
    sia: str
    sia_restore: str = ""

    def __post_init__(self) -> None:
        if not 100 <= self.event <= 999:
            raise ValueError(f"an event code has three digits: {self.event}")
        for letters in (self.sia, self.sia_restore or self.sia):
            if not re.fullmatch(r"[A-Z]{2}", letters):
                raise ValueError(f"a SIA code has two capital letters: {letters!r}")


@dataclass(frozen=True, slots=True)
class Coded:
    """An event as a station gets it."""

    code: Code
    restore: bool

    def contact_id(self, group: int, point: int) -> str:
        """`QEEE GG CCC`."""
        number = 0 if self.code.event in _OF_USERS else point
        return f"{3 if self.restore else 1}{self.code.event:03d} {group:02d} {number:03d}"

    def sia(self, group: int, point: int) -> str:
        """`N` (new event), the area, the letters and the point."""
        letters = self.code.sia_restore if self.restore else self.code.sia
        return f"Nri{group}/{letters}{point:03d}"


#: Codes of Contact ID whose CCC is a user's number, not a point's (SpanDSP's table). We number no users: 000.
_OF_USERS = frozenset(
    (313, *range(400, 410), *range(411, 416), 421, 422, 424, 425, 429, 430, 431, 441, 442, *range(450, 460))
) | frozenset((462, 463, 464, 466, 573, 604, 607, 625, 642))

#: What an event is reported as that happened while people worked there, whatever its own code is.
VISIT_TEST = "visit:test"

_KIND = ConditionKind
DEFAULT_CODES: Mapping[str, Code] = MappingProxyType(
    {
        f"condition:{_KIND.LEFT_OPEN}": Code(426, "DN", "DR"),
        f"condition:{_KIND.DID_NOT_OPEN}": Code(432, "DT", "DR"),
        f"condition:{_KIND.DID_NOT_CLOSE}": Code(432, "DT", "DR"),
        f"condition:{_KIND.OPENED_WITHOUT_COMMAND}": Code(423, "DF", "DR"),
        f"condition:{_KIND.CONTACTS_CONTRADICT}": Code(427, "DT", "DR"),
        f"condition:{_KIND.CHATTER}": Code(427, "DT", "DR"),
        f"condition:{_KIND.TAMPER}": Code(137, "TA", "TR"),
        f"condition:{_KIND.SAFETY_VIOLATED}": Code(427, "DT", "DR"),
        f"condition:{_KIND.POWER_LOST}": Code(301, "AT", "AR"),
        f"condition:{_KIND.RECEIVER_SILENT}": Code(330, "ET", "ER"),
        f"condition:{_KIND.LINE_NOISY}": Code(330, "ET", "ER"),
        f"condition:{_KIND.UNKNOWN_REPEATED}": Code(421, "DD"),
        f"condition:{_KIND.REVOKED_USED}": Code(421, "DD"),
        f"condition:{_KIND.BOARD_RESET}": Code(306, "LB", "LX"),
        f"condition:{_KIND.DRIFT_OPEN}": Code(306, "LB", "LX"),
        f"condition:{_KIND.CLOCK_UNTRUSTED}": Code(626, "JT"),
        "condition:battery-low": Code(384, "XT", "XR"),
        "transmitter.heard:known": Code(422, "DG"),
        "transmitter.heard:unknown": Code(421, "DD"),
        "ring.overrun": Code(624, "JO"),
        "plan.applied": Code(412, "RS"),
        "plan.failed": Code(413, "RU"),
        "settings.changed": Code(412, "RS"),
        "link.lost": Code(330, "ET", "ER"),
        "clock.trusted": Code(625, "JT"),
        "outlet.failing": Code(354, "YC", "YK"),
        "gateway.started": Code(602, "RP"),
        "visit.started": Code(607, "TS", "TE"),
        VISIT_TEST: Code(601, "RX"),
    }
)

#: Personal, told by a condition as well, or of no use to most stations; the settings may switch them on.
OFF_BY_DEFAULT = frozenset(
    ("transmitter.heard:known", "transmitter.heard:unknown", "link.lost", "clock.trusted", "gateway.started")
)

_ENDS = {
    EventName.LINK_RESTORED: "link.lost",
    EventName.OUTLET_RECOVERED: "outlet.failing",
    EventName.VISIT_ENDED: "visit.started",
}


def code_key(event: Event) -> tuple[str, bool]:
    """The key of an event, and whether it is the end of what the key names."""
    if event.name in _ENDS:
        return _ENDS[event.name], True
    if event.name in (EventName.CONDITION_RAISED, EventName.CONDITION_CLEARED):
        return f"condition:{condition_of(event.data)}", event.name is EventName.CONDITION_CLEARED
    if event.name is EventName.TRANSMITTER_HEARD:
        return f"{event.name.value}:{'known' if event.data.get('known') else 'unknown'}", False
    return event.name.value, False


def coded(event: Event, table: Mapping[str, Code]) -> Coded | None:
    """What a station gets for an event; None when the table has nothing for it.

    While people work there a test is reported in the place of what has a code of its own, and the end of a condition
    that was a test is not reported. The end of what had been reported before they came still is.
    """
    key, restore = code_key(event)
    code = table.get(key)
    if code is not None and event.data.get("visit") and not key.startswith("visit."):
        if event.name is EventName.CONDITION_CLEARED:
            return None
        if not restore:
            code = table.get(VISIT_TEST)
    if code is None or (restore and not code.sia_restore):
        return None
    return Coded(code, restore)


def is_code_key(key: str) -> bool:
    """Whether a key of the settings can mean anything."""
    name, colon, rest = key.partition(":")
    if name == "condition":
        return bool(re.fullmatch(r"[a-z][a-z-]*", rest))
    if colon:
        return key in DEFAULT_CODES
    return name in set(EventName) and name not in {end.value for end in _ENDS}
