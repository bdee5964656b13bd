"""The serial column: ten decimal digits, and what a spreadsheet makes of them.

Read right: lost leading zeros, `48231907.0` and `48231907,0` (a number cell written with a decimal), blanks
between thousands, `="0048231907"` and a leading `'` (both are ways to keep zeros). Refused: `4.82E+07`,
whose digits are lost, and everything else.
"""

from __future__ import annotations

import re

from gateway.domain.transmitter import MAX_SERIAL
from gateway.roster.cells import Wrong, show

__all__ = ["read_serial"]

_PRINTED = "write the digits printed on the transmitter, up to ten, such as 0048231907"
_DIGITS = re.compile(r"[0-9]{1,10}")
_WHOLE_NUMBER = re.compile(r"([0-9]{1,10})[.,]0{1,2}")
_THOUSANDS = re.compile(r"[0-9]{1,3}( [0-9]{3}){1,3}")
_TEXT_FORMULA = re.compile(r'="([0-9]{1,10})"')
_SCIENTIFIC = re.compile(r"[0-9]+([.,][0-9]+)?E[+-]?[0-9]+", re.IGNORECASE)


def read_serial(text: str) -> int | Wrong:
    """The transmitter's number, 1 to 4294967295 (an unsigned 32-bit number; 0 is no transmitter)."""
    digits = _digits(text.removeprefix("'"))
    if isinstance(digits, Wrong):
        return digits
    serial = int(digits)
    if serial == 0:
        return Wrong(f"the serial {show(text)}", f"0 is no transmitter: {_PRINTED}")
    if serial > MAX_SERIAL:
        return Wrong(f"the serial {show(text)}, above {MAX_SERIAL}", _PRINTED)
    return serial


def _digits(text: str) -> str | Wrong:
    if _DIGITS.fullmatch(text):
        return text
    if match := _WHOLE_NUMBER.fullmatch(text) or _TEXT_FORMULA.fullmatch(text):
        return match.group(1)
    if _THOUSANDS.fullmatch(text):
        return text.replace(" ", "")
    return _not_a_serial(text)


def _not_a_serial(text: str) -> Wrong:
    if not text:
        return Wrong("no serial", _PRINTED)
    if _SCIENTIFIC.fullmatch(text):
        return Wrong(
            f"a serial rounded by the spreadsheet: {show(text)}",
            f"format the column as text, then {_PRINTED}",
        )
    bare = re.sub(r"[\s.,'_-]", "", text)
    if bare.isascii() and bare.isdigit() and len(bare) > 10:
        return Wrong(f"{len(bare)} digits: {show(text)}", _PRINTED)
    if _DIGITS.fullmatch(bare):
        return Wrong(
            f"a serial with other characters in it: {show(text)}", f"write {bare:0>10}, if that is printed on it"
        )
    return Wrong(f"{show(text)}, which is no serial", _PRINTED)
