"""What everybody must have read who works a gate from afar; shown wherever that can be done or allowed.

The usual cautions for powered gates. Local codes, the gate's own instructions and a licensed installer decide.
"""

from __future__ import annotations

__all__ = ["CAUTIONS", "WHO_DECIDES"]

CAUTIONS: tuple[str, ...] = (
    "Moving gates can crush, trap and kill. Gatepost is not a safety device and replaces none: obstacle detection, "
    "force limits, hold-to-run and emergency stop belong to the gate's own control unit and must work without "
    "Gatepost.",
    "Do not switch on remote operation unless a qualified person has confirmed that the gate is protected for "
    "operation out of sight: automatic or unseen operation needs presence detection and force limits at every danger "
    "point, checked by the unit itself (EN 12453, EN 13241, UL 325).",
    "Before operating: see the gate, or know that nobody is near it. A camera picture or a status display may be late. "
    "Keep children and people away from a moving gate; vehicle gates are not for pedestrians.",
    "If a safety sensor is missing or faulty, operate only by constant pressure on a control from which the whole gate "
    "is seen. A network cannot be that control.",
    "Test the safety functions at the interval that the maker gives, have them serviced, and switch the gate off if it "
    "is damaged. Know the manual release.",
    "Removing people from the roster must not lock anyone in: exits and emergency access must not depend on a "
    "transmitter.",
    "A changed on-time or output mode can change how the gate moves: have it tested on site by a qualified person.",
)

WHO_DECIDES = "Local codes, the gate's own instructions and a licensed installer decide."
