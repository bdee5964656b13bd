"""Code and settings out of the documentation, so that tests run what people copy."""

from __future__ import annotations

import re
from pathlib import Path

__all__ = ["DOCS", "fenced"]

DOCS = Path(__file__).parents[2] / "docs"


def fenced(page: str, language: str) -> list[str]:
    """The text of every block of a language in a page below docs/."""
    return re.findall(rf"```{language}\n(.*?)```", (DOCS / page).read_text("utf-8"), re.DOTALL)
