"""Receivers that no line reaches: their plan as a visit sheet, ticked line by line; their mirror is what was ticked.

`lines` says what is to be done, `ticking` what a tick means for the mirror, `sheets` keeps the lines, `desk` is the
use case over them. Nothing here is ever called proven.
"""

from __future__ import annotations

__all__: list[str] = []
