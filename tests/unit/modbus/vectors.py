"""The published Modbus values, read from `tests/vectors/modbus.toml`."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

__all__ = ["EXCHANGES", "FRAMES", "VECTORS", "unhex"]

VECTORS: dict[str, list[dict[str, Any]]] = tomllib.loads(
    (Path(__file__).parents[2] / "vectors" / "modbus.toml").read_text(encoding="utf-8")
)


def unhex(text: str) -> bytes:
    """`"01 0A"` as bytes."""
    return bytes.fromhex(text)


EXCHANGES = [(unhex(e["request"]), unhex(e["answer"])) for e in VECTORS["exchange"]]
FRAMES = [unhex(f["bytes"]) for f in VECTORS["frame"]]
