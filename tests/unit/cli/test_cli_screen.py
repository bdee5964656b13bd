"""What others wrote reaches a terminal as text alone."""

from __future__ import annotations

import io

import pytest

from gateway.cli import console
from gateway.cli.screen import Screen, harmless

NASTY = "leaf \x1b[2J\x1b]0;title\x07 was\rblocked \u202egnihton\u202c \x9b31m"


def test_control_characters_show_and_do_nothing() -> None:
    """Escape sequences, C1 controls, carriage returns, and what turns the direction of text (UAX 9)."""
    stream = io.StringIO()
    Screen(file=stream, force_terminal=True, color_system=None, soft_wrap=True, highlight=False).print(
        NASTY, markup=False
    )
    shown = stream.getvalue()
    assert shown == harmless(NASTY) + "\n"
    assert not set(shown) & set("\x1b\x07\r\x9b\u202e\u202c")
    assert shown.count("\ufffd") == 7


@pytest.mark.parametrize("text", ["Büro an der Slipanlage", "line\nand\ttab", "“berth 12”", "שלום"])
def test_other_text_stays(text: str) -> None:
    """Letters of any script, line breaks and tabs."""
    assert harmless(text) == text


def test_commands_print_on_such_screens() -> None:
    """Both of them."""
    assert isinstance(console.console, Screen)
    assert isinstance(console._errors, Screen)
