"""A CloudEvents object as bytes: the same event always gives the same ones, so that a retry can be recognised."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

__all__ = ["write_document"]


def write_document(document: Mapping[str, Any]) -> bytes:
    """Compact JSON in UTF-8."""
    return json.dumps(document, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode()
