"""The frame that every resource stands in: declared whole in its own file, and by the same rules as the others."""

from __future__ import annotations

import importlib
import re
import sys
from pathlib import Path
from typing import get_origin

import pytest
from pydantic import BaseModel, ValidationError

import gateway.api.resources
from gateway import errors
from gateway.api.operations import Operation
from gateway.api.problem_types import CLASS_PROBLEMS, CODE_PROBLEMS, REQUEST_PROBLEMS
from gateway.api.routes import OPERATIONS

_FOLDER = Path(str(gateway.api.resources.__file__)).parent
_FILES = sorted(path.stem for path in _FOLDER.glob("*.py") if path.stem != "__init__")
_READS = ("GET", "HEAD")

#: Lists without pages, each with the bound that makes them short.
_SHORT = {
    "listOutputs": "a receiver has eight outputs at most",
    "listReceiptKeys": "the key in use and the few before it",
}

#: Writes that make something and take no Idempotency-Key, each with why sending it twice does no harm.
_NOT_REPEATABLE = {
    "createToken": "its answer holds a secret, which is never kept; a second token is seen in the list and removed",
    "importSnapshot": "a snapshot of the same name is refused",
    "openSession": "its answer is a cookie; a second session ends by itself",
}


def _declared() -> list[tuple[str, Operation]]:
    found = []
    for name in _FILES:
        module = importlib.import_module(f"gateway.api.resources.{name}")
        found += [(name, operation) for operation in getattr(module, "OPERATIONS", ())]
    return found


def test_every_operation_that_is_declared_is_routed() -> None:
    """A file that routes.py forgets would be dead code."""
    assert {operation.id for _, operation in _declared()} == {operation.id for operation in OPERATIONS}


@pytest.mark.parametrize(("name", "operation"), _declared(), ids=lambda each: getattr(each, "id", each))
def test_an_operation_stands_beside_its_handler(name: str, operation: Operation) -> None:
    """One place tells everything about it; what it says about itself is the handler's own text."""
    assert sys.modules[operation.handler.__module__].__name__ == f"gateway.api.resources.{name}"
    assert (operation.handler.__doc__ or "").strip()
    assert re.fullmatch(r"[a-z]+([A-Z][a-z]*)*", operation.id)
    assert re.fullmatch(r"(/[a-z0-9.-]+|/\{[a-z]+\})+", operation.path)


@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda operation: operation.id)
def test_problems_are_known(operation: Operation) -> None:
    """Each code that an operation names has a status and a title."""
    known = {*REQUEST_PROBLEMS, *CODE_PROBLEMS, *(kind.code for kind in CLASS_PROBLEMS)}
    assert set(operation.problems) <= known
    assert isinstance(errors.GatepostError.code, str)


def _lists(model: type[BaseModel] | None) -> list[str]:
    fields = model.model_fields if model else {}
    return [name for name, field in fields.items() if get_origin(field.annotation) is list]


_LISTS = [
    each
    for each in OPERATIONS
    if each.id.startswith("list") or (each.method == "GET" and each.answer and "next" in each.answer.model_fields)
]


@pytest.mark.parametrize("operation", _LISTS, ids=lambda operation: operation.id)
def test_every_list_has_pages(operation: Operation) -> None:
    """`cursor` and `limit` in, `next` out, and a foreign cursor is refused."""
    assert operation.answer is not None
    assert _lists(operation.answer) or not operation.id.startswith("list")
    if operation.id in _SHORT:
        return
    assert operation.query is not None
    assert {"cursor", "limit"} <= set(operation.query.model_fields)
    assert "next" in operation.answer.model_fields
    assert "cursor-invalid" in operation.problems


@pytest.mark.parametrize(
    "operation", [each for each in OPERATIONS if each.method == "POST"], ids=lambda operation: operation.id
)
def test_what_makes_something_is_done_once(operation: Operation) -> None:
    """A POST that answers 201 or 202 takes an Idempotency-Key, or it is said why it need not."""
    if operation.status in (201, 202):
        assert (operation.repeatable or operation.keyed) is (operation.id not in _NOT_REPEATABLE)


def test_what_moves_a_gate_judges_its_key_itself() -> None:
    """At most once, whatever the answer was."""
    moving = [each for each in OPERATIONS if each.scope == "operate" and each.method == "POST"]
    assert moving
    assert all(each.keyed or each.strict for each in moving)


def test_reading_changes_nothing() -> None:
    """No GET has a body, a key or a precondition."""
    for operation in OPERATIONS:
        if operation.method in _READS:
            assert operation.body is None
            assert (operation.repeatable, operation.guarded, operation.keyed) == (False, False, False), operation.id


def test_days_are_written_as_such() -> None:
    """A query's `date` would take a number for seconds since 1970 (schemathesis found it); `Day` doesn't."""
    for operation in OPERATIONS:
        for name, field in operation.query.model_fields.items() if operation.query else ():
            if "datetime.date" in str(field.annotation):
                assert operation.query is not None
                with pytest.raises(ValidationError, match="YYYY-MM-DD"):
                    operation.query.model_validate({name: "0"})


def test_the_exceptions_are_needed() -> None:
    """None of them names what is not there any more."""
    assert {*_SHORT, *_NOT_REPEATABLE} <= {operation.id for operation in OPERATIONS}
