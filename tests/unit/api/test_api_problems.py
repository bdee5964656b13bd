"""Every error has a problem type, and a problem document has a fixed shape."""

from __future__ import annotations

import pytest

from gateway import errors
from gateway.api.faults import Place, RequestFault
from gateway.api.problem_types import CLASS_PROBLEMS, CODE_PROBLEMS, PREFIX, REQUEST_PROBLEMS, problem_type
from gateway.api.problems import document
from gateway.errors import GatepostError, NoAnswer, NotFound, ReceiverException, Refused


def _leaves(kind: type[GatepostError]) -> list[type[GatepostError]]:
    below = [leaf for child in kind.__subclasses__() for leaf in _leaves(child)]
    return below or [kind]


@pytest.mark.parametrize(
    "kind", [k for k in _leaves(GatepostError) if k.__module__ == errors.__name__], ids=lambda kind: kind.__name__
)
def test_every_error_class_has_a_status_of_its_own(kind: type[GatepostError]) -> None:
    """No error of the tree falls through to the unknown; its code is stable kebab-case."""
    assert kind in CLASS_PROBLEMS
    assert 400 <= CLASS_PROBLEMS[kind].status < 600
    assert kind.code.replace("-", "").isalpha()


def test_codes_of_classes_are_not_taken_twice() -> None:
    """One code means one thing."""
    codes = [kind.code for kind in CLASS_PROBLEMS]
    assert len(set(codes)) == len(codes)
    assert not set(codes) & set(REQUEST_PROBLEMS)
    assert not set(CODE_PROBLEMS) & set(REQUEST_PROBLEMS)


def test_a_new_code_of_a_known_class_has_its_class_s_status() -> None:
    """A rule that is added later is answered as a refusal without a change here."""
    assert problem_type(Refused("No.", code="brand-new-rule")).status == 409
    assert problem_type(Refused("No.", code="on-time-out-of-range")).status == 422
    assert problem_type(NoAnswer("Silence.")).status == 504
    assert problem_type(ReceiverException("No.", function=3, exception=2)).status == 502


def test_the_shape_of_a_document() -> None:
    """RFC 9457, section 3: type, title, status, detail; ours add remedy and errors."""
    assert document(NotFound("There is no receiver x.", remedy="List them.")) == {
        "type": "urn:gatepost:problem:not-found",
        "title": "It does not exist",
        "status": 404,
        "detail": "There is no receiver x.",
        "remedy": "List them.",
    }
    fault = RequestFault("body-invalid", "Wrong.", remedy="Mend it.", places=[Place("is missing", pointer="#/a")])
    assert document(fault, fault.places)["errors"] == [{"pointer": "#/a", "detail": "is missing"}]


def test_codes_stand_in_their_type() -> None:
    """The type is the prefix and the code, whatever the title says."""
    for code in REQUEST_PROBLEMS:
        assert document(RequestFault(code, "x", remedy="y"))["type"] == PREFIX + code
