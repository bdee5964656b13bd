"""How long this version gets mended (ETSI EN 303 645, provision 5.3-13: the support period is published).

SECURITY.md makes the same promise in words; a test compares the two.
"""

from __future__ import annotations

from datetime import date

__all__ = ["SUPPORT_ENDS"]

SUPPORT_ENDS = date(2029, 12, 31)
"""The last day on which weaknesses of this version are mended. Our choice: three years and what is left of the year."""
