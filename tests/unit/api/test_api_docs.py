"""What the code can say stands in the documentation."""

from __future__ import annotations

import ast
import json
import re
from pathlib import Path

import pytest

import gateway
from gateway import errors
from gateway.api.problem_titles import TITLES
from gateway.api.problem_types import CLASS_PROBLEMS, CODE_PROBLEMS, REQUEST_PROBLEMS, problem_type
from gateway.api.problems import document
from gateway.api.routes import OPERATIONS
from gateway.domain.cloudevents import TYPE_PREFIX
from gateway.domain.events import EventName
from gateway.errors import GatepostError
from gateway.receivers import refusals

_ROOT = Path(gateway.__file__).parent
_DOCS = _ROOT.parent / "docs"
_API = (_DOCS / "api.md").read_text()
_ROW = re.compile(r"^\| `([a-z0-9._-]+)` \| ([^|]*)\|", re.MULTILINE)
_CODES = {code: status.strip() for code, status in _ROW.findall(_API)}

#: Rooms whose errors reach somebody by another way than the API.
_OTHER_WAYS = ("cli", "virtual")


def _raised() -> dict[str, type[GatepostError]]:
    """Every code that the source gives to an error of the tree as it raises one, with the error's class."""
    kinds = {name: getattr(errors, name) for name in errors.__all__}
    found: dict[str, type[GatepostError]] = {row[0]: errors.ReceiverRefused for row in refusals._TABLE.values()}
    for path in _ROOT.rglob("*.py"):
        if path.relative_to(_ROOT).parts[0] in _OTHER_WAYS:
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in kinds:
                for keyword in node.keywords:
                    if keyword.arg == "code" and isinstance(keyword.value, ast.Constant):
                        found[str(keyword.value.value)] = kinds[node.func.id]
    return found


def test_every_event_is_documented() -> None:
    """Each name has a row with a meaning, and no row names an event that does not exist."""
    rows = dict(_ROW.findall((_DOCS / "events.md").read_text()))
    assert set(rows) == set(EventName)
    assert all(len(meaning.strip()) > 5 for meaning in rows.values())


@pytest.mark.parametrize("code", sorted({*REQUEST_PROBLEMS, *CODE_PROBLEMS, *(k.code for k in CLASS_PROBLEMS)}))
def test_every_problem_of_the_tables_is_documented(code: str) -> None:
    """With the status that the table gives it."""
    by_class = {kind.code: problem for kind, problem in CLASS_PROBLEMS.items()}
    assert _CODES[code] == str((by_class | CODE_PROBLEMS | REQUEST_PROBLEMS)[code].status)


def test_every_code_that_is_raised_is_documented() -> None:
    """A new rule somewhere in the gateway needs a row, with the status that it will have."""
    raised = _raised()
    assert "no-roster" in raised
    wanted = {code: str(problem_type(kind("x", code=code)).status) for code, kind in raised.items()}
    assert {code: _CODES.get(code, "missing") for code in wanted} == wanted


def test_titles_are_those_of_the_page() -> None:
    """What a code means stands in the page and in each answer; `A rule says no` is for rules that have no code."""
    meanings = dict(re.findall(r"^\| `([a-z-]+)` \| \d{3} \| (.*?) \|$", _API, re.MULTILINE))
    assert {code: title for code, title in TITLES.items() if not meanings[code].startswith(title)} == {}
    elsewhere = {code for code, text in meanings.items() if text.endswith(("(at start)", "(commands only)"))}
    bare = CLASS_PROBLEMS[errors.Refused].title
    untitled = {code for code, kind in _raised().items() if problem_type(kind("x", code=code)).title == bare}
    assert untitled <= elsewhere | {"refused"}


def test_the_examples_are_true() -> None:
    """JSON in the pages has the shapes that the code makes; addresses in it are routed."""
    (problem,) = [json.loads(text) for text in re.findall(r"```json\n(.*?)```", _API, re.DOTALL)]
    written = document(errors.NotFound("x", remedy="y"))
    assert set(problem) - {"errors"} == set(written)
    assert problem["title"] == REQUEST_PROBLEMS["body-invalid"].title
    (event,) = [
        json.loads(text) for text in re.findall(r"```json\n(.*?)```", (_DOCS / "events.md").read_text(), re.DOTALL)
    ]
    assert event["type"].removeprefix(TYPE_PREFIX) in set(EventName)
    routed = [re.sub(r"\{\w+\}", "[^/?]+", operation.path) for operation in OPERATIONS]
    named = re.findall(r'"\$api(/[^"?\s]*)', _API)
    assert len(named) > 10
    for path in named:
        assert any(re.fullmatch(pattern, f"/api/v1{path}") for pattern in routed), path
