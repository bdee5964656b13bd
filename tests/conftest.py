"""For all tests: a property is never failed by a slow machine."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("gatepost", deadline=None)
settings.load_profile("gatepost")
