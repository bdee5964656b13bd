"""What commands ask for stands in the OpenAPI document."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

import gateway.cli
from gateway.api.openapi import build_document
from gateway.api.routes import OPERATIONS

_FOLDER = Path(str(gateway.cli.__file__)).parent
_PATHS = build_document(OPERATIONS, version="")["paths"]
#: Methods of the client that take a path, with the HTTP method they use; None when it is their first argument.
_CALLS = {
    "get": "GET",
    "get_all": "GET",
    "tag": "GET",
    "download": "GET",
    "change": "PATCH",
    "send": None,
    "upload": None,
}
_HOLE = "\0"


def _text(node: ast.expr) -> str | None:
    """A literal path; what is filled in later is a hole. None when the path comes from elsewhere."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        parts = [str(each.value) if isinstance(each, ast.Constant) else _HOLE for each in node.values]
        return "".join(parts) if parts[0].startswith("/") else None
    return None


def _calls() -> list[tuple[str, str, str, frozenset[str]]]:
    """File and line, method, path and the names of the query of every call with a literal path."""
    found = []
    for path in sorted(_FOLDER.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr in _CALLS):
                continue
            arguments = list(node.args)
            method = _CALLS[node.func.attr]
            if method is None:
                method = _text(arguments.pop(0)) if arguments else None
            asked = _text(arguments[0]) if arguments else None
            named = {each.arg: each.value for each in node.keywords if each.arg}
            if node.func.attr == "change" and "method" in named:
                method = _text(named["method"])
            if method is None or asked is None or not asked.startswith("/"):
                continue
            query = frozenset(named) if node.func.attr in ("get", "get_all", "tag", "download") else frozenset[str]()
            found.append((f"{path.relative_to(_FOLDER)}:{node.lineno}", method, asked, query))
    return found


def _operation(method: str, path: str) -> dict[str, object] | None:
    for template, item in _PATHS.items():
        pattern = re.sub(r"\\\{\w+\\\}", "[^/]+", re.escape(template.removeprefix("/api/v1")))
        if re.fullmatch(pattern, path) and method.lower() in item:
            found: dict[str, object] = item[method.lower()]
            return found
    return None


def _name(part: str | frozenset[str]) -> str:
    return (part if isinstance(part, str) else ",".join(sorted(part)))[:60]


@pytest.mark.parametrize(("place", "method", "path", "query"), _calls(), ids=_name)
def test_every_call_is_described(place: str, method: str, path: str, query: frozenset[str]) -> None:
    """Method, path and the query's names; a command that asks for what is gone fails here and not at somebody's."""
    operation = _operation(method, path)
    assert operation is not None, f"{place}: there is no {method} {path.replace(_HOLE, '{}')}"
    parameters = operation.get("parameters", [])
    assert isinstance(parameters, list)
    assert query <= {each["name"] for each in parameters if each["in"] == "query"}, place


def test_there_are_calls() -> None:
    """The test above looks where they are."""
    assert len(_calls()) > 60
