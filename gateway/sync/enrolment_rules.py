"""When a serial is certain: the rules of enrolment, press by press.

Pure. One window is one time of listening, from its first moment to its last. A typed serial is confirmed by one press
of that very transmitter; else two presses of one transmitter confirm it. Two different transmitters in one window are
a conflict, whatever came before: nobody can say which of them is in the hand of the person meant. That holds for a
press that arrives after the confirming one as well, and for a known holder's who only opens the gate.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from gateway.domain.enrolment import EnrolmentStep, EnrolmentWay, Heard

__all__ = ["Window", "press"]

_ENOUGH = {EnrolmentWay.TYPED_AND_PRESSED: 1, EnrolmentWay.TWO_PRESSES: 2, EnrolmentWay.SEVERAL: 2}


@dataclass(frozen=True, slots=True)
class Window:
    """What was heard in one window. `passed` are serials that are certain already: their presses count for nothing."""

    way: EnrolmentWay
    typed: int | None = None
    passed: frozenset[int] = frozenset()
    heard: tuple[Heard, ...] = ()
    step: EnrolmentStep = EnrolmentStep.LISTENING


def press(window: Window, serial: int, position: str, holder: str = "") -> Window:
    """The window after one press. A conflict stays one."""
    if serial in window.passed:
        return window
    known = next((each for each in window.heard if each.serial == serial), Heard(serial))
    now = replace(known, presses=known.presses + 1, position=position, holder=holder)
    heard = tuple(now if each is known else each for each in window.heard)
    if known not in window.heard:
        heard = (*window.heard, now)
    return replace(window, heard=heard, step=_step(window, heard))


def _step(window: Window, heard: tuple[Heard, ...]) -> EnrolmentStep:
    stranger = window.typed is not None and any(each.serial != window.typed for each in heard)
    if len(heard) > 1 or stranger:
        return EnrolmentStep.CONFLICT
    return EnrolmentStep.CONFIRMED if heard[0].presses >= _ENOUGH[window.way] else EnrolmentStep.HEARD
