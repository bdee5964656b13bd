"""What is wrong with a request itself, as an error that `problems` can write down.

Faults of a request are local errors like any other, with what only HTTP needs: headers, and the places in the
body or the query that are wrong. Their codes, with status and title, stand in `problem_types`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gateway.errors import LocalError

__all__ = ["Place", "RequestFault"]


@dataclass(frozen=True, slots=True)
class Place:
    """One wrong place. Exactly one of `pointer` (JSON Pointer into the body, RFC 6901, as a URI fragment),
    `parameter` (in the query or path) and `header` is set; `detail` never repeats what was sent."""

    detail: str
    pointer: str = ""
    parameter: str = ""
    header: str = ""


class RequestFault(LocalError):
    """A request that can't be served as it is. `code` is one of `problem_types.REQUEST_PROBLEMS`."""

    code = "request-malformed"

    def __init__(
        self,
        code: str,
        message: str,
        *,
        remedy: str,
        places: Sequence[Place] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(message, remedy=remedy, code=code)
        self.places = tuple(places)
        self.headers = dict(headers or {})
