"""The contributors' pages match the tree: every room stands there, and everything they name is there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "gateway"
ARCHITECTURE = (ROOT / "docs" / "architecture.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")
ROOMS = sorted(path.name for path in PACKAGE.iterdir() if (path / "__init__.py").exists())


@pytest.mark.parametrize("room", ROOMS)
def test_every_room_stands_on_both_pages(room: str) -> None:
    """In the drawing, and in the table of what goes where."""
    assert re.search(rf"(^|[ -]){room}/", ARCHITECTURE, re.M)
    assert f"gateway/{room}/" in DEVELOPERS


def test_what_the_pages_name_is_there() -> None:
    """Files and folders of rooms."""
    room = "|".join(ROOMS)
    named = set(re.findall(rf"`(?:gateway/)?((?:{room})/[a-z_/.]*)`", ARCHITECTURE + DEVELOPERS))
    assert len(named) > 40
    assert not [name for name in named if not (PACKAGE / name).exists()]


def test_every_page_is_linked_from_the_readme() -> None:
    """A page that nobody finds helps nobody."""
    readme = (ROOT / "README.md").read_text("utf-8")
    pages = [path.relative_to(ROOT).as_posix() for path in (ROOT / "docs").rglob("*.md")]
    assert not [page for page in pages if page not in readme and "/decisions/" not in page]


@pytest.mark.parametrize("page", sorted([*ROOT.glob("*.md"), *ROOT.glob("docs/**/*.md")]), ids=lambda path: path.stem)
def test_links_lead_somewhere(page: Path) -> None:
    """Files, and headings within pages."""
    for place, anchor in re.findall(r"\]\((?!https?:)([^)#\s]*)(#[^)\s]+)?\)", page.read_text("utf-8")):
        target = page.parent / place if place else page
        assert target.exists(), place
        if anchor:
            headings = re.findall(r"^#+ (.*)$", target.read_text("utf-8"), re.M)
            made = {"#" + re.sub(r"[^a-z0-9 -]", "", heading.lower()).replace(" ", "-") for heading in headings}
            assert anchor in made, (place, anchor)
