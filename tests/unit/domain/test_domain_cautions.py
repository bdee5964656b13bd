"""The cautions stand wherever somebody decides about operating from afar, word for word."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import gateway
from gateway.domain.cautions import CAUTIONS, WHO_DECIDES

_ROOT = Path(gateway.__file__).parent.parent


@pytest.mark.parametrize("page", ["README.md", "docs/operating.md"])
def test_each_caution_stands_on_the_page(page: str) -> None:
    """All of them, in order, and who decides."""
    text = re.sub(r"\s+", " ", (_ROOT / page).read_text())
    places = [text.find(caution) for caution in (*CAUTIONS, WHO_DECIDES)]
    assert -1 not in places
    assert places == sorted(places)


def test_there_are_seven() -> None:
    """None is left out for brevity."""
    assert len(CAUTIONS) == 7
