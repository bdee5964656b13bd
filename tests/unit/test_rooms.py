"""The house: a room imports lower rows only."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_import_directions_hold() -> None:
    """Every contract of .importlinter is kept; a new folder without a level fails too."""
    code = "from importlinter.cli import lint_imports; raise SystemExit(lint_imports(no_cache=True))"
    found = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert found.returncode == 0, found.stdout + found.stderr
    assert "4 kept, 0 broken" in found.stdout
