"""README: its two command lines are the ones that were tried, and every page that it names exists."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text()
#: Tried with Debian 12's own python3 3.11.2 and pip 23.0.1, where a plain `pip install` stops with
#: externally-managed-environment (PEP 668) and python3-venv is not installed.
COMMANDS = (
    "python3 -m venv --without-pip .venv && python3 -m pip --python .venv/bin/python install -e . "
    "&& .venv/bin/gatepost demo",
    "python3 -m venv --without-pip .venv && python3 -m pip --python .venv/bin/python install -e '.[test]' "
    "&& .venv/bin/python -m pytest",
)


def test_the_two_commands_word_for_word() -> None:
    """Each stands on a line of its own in a block, and nothing else installs anything."""
    installing = [line for line in README.splitlines() if "pip" in line and "install" in line and "venv" in line]
    assert installing == list(COMMANDS)


def test_what_the_commands_name_is_there() -> None:
    """The entry point `gatepost` and the extra `test`."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert "gatepost" in project["scripts"]
    assert "test" in project["optional-dependencies"]


def _links(path: Path) -> list[tuple[str, str]]:
    found = re.findall(r"\]\((?!https?:|#|mailto:)([^)#\s]+)", path.read_text())
    return [(str(path.relative_to(ROOT)), link) for link in found]


PAGES = (ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "docs").glob("*.md"))


@pytest.mark.parametrize(("page", "link"), sorted({link for page in PAGES for link in _links(page)}))
def test_every_page_that_is_named_exists(page: str, link: str) -> None:
    """In README, DEVELOPERS and the docs."""
    assert ((ROOT / page).parent / link).exists()
