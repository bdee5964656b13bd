"""Names of outputs in commands: how they are typed, and how they are told."""

from __future__ import annotations

import pytest
import typer

from gateway.api.client.types import NamedOutputAnswer
from gateway.cli.output_names import print_names, print_renamed, wanted_names


def _output(number: int, in_settings: str, in_use: str, *former: str) -> NamedOutputAnswer:
    return {"number": number, "in_settings": in_settings, "in_use": in_use, "former": list(former)}


def test_a_name_is_typed_after_its_output() -> None:
    """By number or name; an empty one goes back, and a name may have an equals sign for the daemon to refuse."""
    assert wanted_names(["1=slip", "boat-hoist=crane", "3=", "4=a=b"]) == {
        "1": "slip", "boat-hoist": "crane", "3": "", "4": "a=b",
    }  # fmt: skip


@pytest.mark.parametrize("pairs", [["slip"], ["=slip"], [""], ["1=slip", "1=haven"]])
def test_what_names_nothing_is_wrong_usage(pairs: list[str]) -> None:
    """Before anything is asked."""
    with pytest.raises(typer.BadParameter):
        wanted_names(pairs)


def test_names_are_told_in_use_first(capsys: pytest.CaptureFixture[str]) -> None:
    """With the settings file's and the earlier ones where they differ; nothing of outputs that never had one."""
    print_names(
        [
            _output(1, "gate", "slip", "haven"),
            _output(2, "hoist", "hoist"),
            _output(3, "", "lamp"),
            _output(4, "", "", "horn"),
            _output(5, "", ""),
        ]
    )
    assert capsys.readouterr().out.splitlines() == [
        "output 1 is called slip (in the settings file gate; earlier haven)",
        "output 2 is called hoist",
        "output 3 is called lamp (without a name in the settings file)",
        "output 4 has no name (earlier horn)",
    ]


def test_a_change_is_told_output_by_output(capsys: pytest.CaptureFixture[str]) -> None:
    """And that no receiver was changed; or that nothing was."""
    before = {"outputs": [_output(1, "gate", "gate"), _output(2, "", "horn")]}
    after = {"outputs": [_output(1, "gate", "slip"), _output(2, "", "", "horn")]}
    print_renamed({"before": before, "after": after})  # type: ignore[typeddict-item]
    print_renamed({"before": after, "after": after})  # type: ignore[typeddict-item]
    assert capsys.readouterr().out.splitlines() == [
        "Output 1 is called slip, before gate.",
        "Output 2 has no name, before horn.",
        "No receiver was changed, and rosters may still write the earlier names.",
        "Every output is called so already; nothing was changed.",
    ]
