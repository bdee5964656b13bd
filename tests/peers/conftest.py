"""Programs of others that tests here talk to.

A missing one skips the test and names its Debian package; with GATEPOST_REQUIRE_PEERS=1, which CI sets, it fails.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable

import pytest

__all__ = ["RequireProgram"]

RequireProgram = Callable[[str, str], str]


@pytest.fixture
def require_program() -> RequireProgram:
    """`require_program(program, package)` is the program's path."""
    return _require_program


def _require_program(program: str, package: str) -> str:
    path = shutil.which(program)
    if path is None:
        message = f"{program} is not installed: apt-get install {package}"
        if os.environ.get("GATEPOST_REQUIRE_PEERS") == "1":
            pytest.fail(message)
        pytest.skip(message)
    return path
