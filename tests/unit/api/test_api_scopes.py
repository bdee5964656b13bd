"""What scopes contain."""

from __future__ import annotations

import pytest

from gateway.api.scopes import Scope, widen


@pytest.mark.parametrize(
    ("held", "contains"),
    [
        (["view"], {"view"}),
        (["roster"], {"roster", "view"}),
        (["operate"], {"operate", "view"}),
        (["admin"], {"view", "roster", "operate", "admin"}),
        (["roster", "operate"], {"view", "roster", "operate"}),
        ([], set()),
        (["owner", "VIEW"], set()),
    ],
)
def test_scopes_contain_what_they_say(held: list[str], contains: set[str]) -> None:
    """`roster` and `operate` also read, `admin` does everything, and unknown names give nothing."""
    assert widen(held) == {Scope(name) for name in contains}
