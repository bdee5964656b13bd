"""The problem document (RFC 9457, section 3), as the OpenAPI document describes it."""

from __future__ import annotations

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, example

__all__ = ["ProblemAnswer", "WrongPlaceAnswer"]


class WrongPlaceAnswer(Answer):
    """One wrong place: in the body (a JSON Pointer as a URI fragment), among the parameters or in the header."""

    pointer: str | None = None
    parameter: str | None = None
    header: str | None = None
    detail: str


class ProblemAnswer(Answer):
    """What went wrong and what to do next."""

    model_config = ConfigDict(
        json_schema_extra=example(
            type="urn:gatepost:problem:body-invalid",
            title="The body has fields that are wrong",
            status=422,
            detail="The body has fields that are missing, unknown or wrong.",
            remedy="Correct the places listed under errors; the fields are described in /api/v1/openapi.json.",
            errors=[{"pointer": "#/serial", "detail": "a text of 8 characters stands here; write ten digits"}],
        )
    )

    type: str = Field(pattern=r"^urn:gatepost:problem:[a-z0-9-]+$")
    title: str
    status: int = Field(ge=400, le=599)
    detail: str
    remedy: str | None = None
    errors: list[WrongPlaceAnswer] | None = None
