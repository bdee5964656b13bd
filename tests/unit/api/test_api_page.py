"""The page's files: the rules that no browser checks, and words that must keep up with the code."""

from __future__ import annotations

import re
from importlib.resources import files
from pathlib import Path

import pytest

from gateway.api.page_files import POLICY
from gateway.domain.condition import ConditionKind, Weight
from gateway.domain.events import EventName
from gateway.domain.live import LinkState
from gateway.domain.person import Standing
from gateway.domain.story import StoryKind

_PAGE = Path(str(files("gateway.api") / "page"))
_SCRIPTS = sorted(_PAGE.rglob("*.js"))
_STYLES = sorted(_PAGE.rglob("*.css"))
_WORDS = (_PAGE / "app/words.js").read_text()


@pytest.mark.parametrize("path", _SCRIPTS, ids=lambda path: path.name)
def test_a_script_has_no_way_to_markup(path: Path) -> None:
    """Text stays text, nothing comes from elsewhere, and the file says first what it is for."""
    text = path.read_text()
    for word in (
        "innerHTML",
        "outerHTML",
        "insertAdjacentHTML",
        "document.write",
        "eval(",
        "new Function",
        "DOMParser",
    ):
        assert word not in text, word
    assert not re.findall(r"https?://(?!www\.w3\.org/2000/svg)", text)
    assert text.startswith("// ")
    assert len(text.splitlines()) < 400
    if path.name != "dom.js":
        assert "createElement" not in text
    for imported in re.findall(r'from "([^"]+)"', text):
        assert (path.parent / imported).resolve().is_file(), imported


def test_the_policy_allows_nothing_inline() -> None:
    """W3C CSP 3: no 'unsafe-inline', no 'unsafe-eval', no other origin."""
    assert "unsafe" not in POLICY
    assert set(re.findall(r"'([^']+)'", POLICY)) == {"none", "self", "script"}
    assert "http" not in POLICY


def test_every_view_is_listed() -> None:
    """A file in `views` is a way on the page."""
    listed = (_PAGE / "app/views/index.js").read_text()
    for path in (_PAGE / "app/views").glob("*.js"):
        if path.name != "index.js" and "export const view" in path.read_text():
            assert f'"./{path.name}"' in listed, path.name


@pytest.mark.parametrize("path", _STYLES, ids=lambda path: path.name)
def test_colours_stand_in_one_place(path: Path) -> None:
    """Only the tokens (and paper, which is black on white) name colours; nothing loads from elsewhere."""
    text = path.read_text()
    if path.name not in ("tokens.css", "print.css"):
        assert not re.findall(r"#[0-9a-fA-F]{3,8}\b|rgba?\(|hsla?\(", text)
    assert "url(" not in text
    assert "@import" not in text


def test_normal_is_without_colour() -> None:
    """STANDARDS, display rules: neutral greys; the accent for what needs a person is the only hue."""
    tokens = (_PAGE / "styles/tokens.css").read_text()
    for name, value in re.findall(r"--([a-z-]+): #([0-9a-f]{6});", tokens):
        grey = len({value[0:2], value[2:4], value[4:6]}) == 1
        assert grey or "attention" in name, name


@pytest.mark.parametrize("scheme", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize(
    ("text", "ground", "least"),
    [
        ("ink", "paper", 4.5),
        ("ink", "ground", 4.5),
        ("ink", "sunk", 4.5),
        ("quiet", "paper", 4.5),
        ("quiet", "ground", 4.5),
        ("quiet", "sunk", 4.5),
        ("on-solid", "solid", 4.5),
        ("attention", "paper", 4.5),
        ("attention", "attention-paper", 4.5),
        ("ink", "attention-paper", 4.5),
        ("on-attention", "attention", 4.5),
        ("line-strong", "paper", 3.0),
        ("line-strong", "ground", 3.0),
    ],
)
def test_contrasts(text: str, ground: str, least: float, scheme: int) -> None:
    """WCAG 2.2, 1.4.3 and 1.4.11, by the formula of its glossary (relative luminance)."""
    tokens = (_PAGE / "styles/tokens.css").read_text().split("prefers-color-scheme: dark")[scheme]
    colours = dict(re.findall(r"--([a-z-]+): #([0-9a-f]{6});", tokens))
    light, dark = sorted((_luminance(colours[text]), _luminance(colours[ground])), reverse=True)
    assert (light + 0.05) / (dark + 0.05) >= least


def _luminance(colour: str) -> float:
    channels = [int(colour[place : place + 2], 16) / 255 for place in (0, 2, 4)]
    linear = [each / 12.92 if each <= 0.04045 else ((each + 0.055) / 1.055) ** 2.4 for each in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_the_formula_is_right() -> None:
    """STANDARDS, display rules: on white #767676 is 4.54, #777777 4.48, #949494 3.03."""
    found = [round(1.05 / (_luminance(colour) + 0.05), 2) for colour in ("767676", "777777", "949494")]
    assert found == [4.54, 4.48, 3.03]


@pytest.mark.parametrize(
    ("table", "keys"),
    [
        ("REMEDIES", [kind.value for kind in ConditionKind]),
        ("WEIGHTS", [weight.value for weight in Weight]),
        ("WEIGHT_SHAPES", [weight.value for weight in Weight]),
        ("LINKS", [link.value for link in LinkState]),
        ("STANDINGS", [standing.value for standing in Standing]),
        ("STANDING_SHAPES", [standing.value for standing in Standing]),
    ],
)
def test_words_for_everything_that_can_come(table: str, keys: list[str]) -> None:
    """A new condition, link or standing needs its words here too."""
    body = _WORDS.partition(f"export const {table} = {{")[2].partition("};")[0]
    assert sorted(re.findall(r'(?:^|[\s,{])"?([a-z-]+)"?: "', body)) == sorted(keys)


def test_kinds_of_the_timeline_are_offered() -> None:
    """Every kind of the API is a choice."""
    text = (_PAGE / "app/views/timeline.js").read_text()
    for kind in StoryKind:
        assert f'value: "{kind.value}"' in text


def test_events_reach_what_they_change() -> None:
    """The nouns by which the store reads anew are nouns of events."""
    body = (_PAGE / "app/store.js").read_text().partition("const TOLD_BY = {")[2].partition("};")[0]
    nouns = {name.value.partition(".")[0] for name in EventName}
    assert {noun for line in re.findall(r"\[([^\]]*)\]", body) for noun in re.findall(r'"([a-z]+)"', line)} <= nouns


def test_each_task_names_tests_that_there_are() -> None:
    """The table of docs/page.md: every test file of the page stands in it, and every test it names is in its file."""
    root = Path(__file__).parents[3]
    text = (root / "docs" / "page.md").read_text()
    tests = {path.name: path.read_text() for path in (root / "tests" / "browser").glob("test_page_*.py")}
    assert sorted(set(re.findall(r"`(test_page_\w+\.py)`", text))) == sorted(tests)
    named = re.findall(r"\| `(test_page_\w+\.py)`: (.*) \|", text)
    assert len(named) > 4
    for file, names in named:
        for name in re.findall(r"`(\w+)`", names):
            assert f"def test_{name}(" in tests[file], name
