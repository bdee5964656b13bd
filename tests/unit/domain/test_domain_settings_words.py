"""Changed settings and changes by other hands, as the timeline tells them; no event is told by its name alone."""

from __future__ import annotations

from typing import Any

import pytest

from gateway.cli import words as command_words
from gateway.cli.words import wait_sentence
from gateway.domain import story_words
from gateway.domain.events import EventName
from gateway.domain.settings_words import settings_words
from gateway.domain.story_words import Told, tell_words

_BEFORE = {"on_times_s": [5, 5], "local_programming": True, "password_set": False}
_BOARD = {"before": _BEFORE, "names": ["gate", ""], "origin": "board", "revision": 4}


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (
            {**_BOARD, "after": {**_BEFORE, "on_times_s": [3, 9]}},
            [
                "the on-time of output 1 (gate) was changed from 5 to 3 s at the board",
                "the on-time of output 2 was changed from 5 to 9 s at the board",
            ],
        ),
        ({**_BOARD, "after": {**_BEFORE, "local_programming": False}}, ["local programming was locked at the board"]),
        (
            {**_BOARD, "origin": "line", "after": {**_BEFORE, "password_set": True}},
            ["the link password was set over the line"],
        ),
        ({"password": "changed", "origin": "line", "asked_by": "Kim"}, ["the link password was changed"]),
        (
            {"before": _BEFORE, "after": {**_BEFORE, "on_times_s": [3, 5]}},
            ["the on-time of output 1 was changed from 5 to 3 s"],
        ),
        ({"origin": None}, ["a setting was changed"]),
    ],
)
def test_each_setting_with_before_and_after(data: dict[str, Any], words: list[str]) -> None:
    """By number and name, and who did it as far as that is known; journals of earlier versions have no names."""
    assert settings_words(data) == words


@pytest.mark.parametrize(
    ("name", "data", "sentence"),
    [
        (
            "settings.changed",
            {**_BOARD, "after": {**_BEFORE, "on_times_s": [3, 5]}},
            "Slip Gate: the on-time of output 1 (gate) was changed from 5 to 3 s at the board.",
        ),
        ("drift.found", {"drift": [{"origin": "board"}]}, "Slip Gate was changed at the board: 1 transmitter."),
        (
            "drift.found",
            {"drift": [{"origin": "line"}, {"origin": "line"}]},
            "Slip Gate was changed over the line, by another tool: 2 transmitters.",
        ),
        ("drift.found", {"drift": [{"origin": None}]}, "Slip Gate was changed by other hands: 1 transmitter."),
        ("drift.found", {"cleared": True}, "Slip Gate was cleared by a reset that did not come from here."),
        (
            "drift.decided",
            {"serial": "0048209999", "decision": "adopt", "asked_by": "Kim"},
            "What was changed at Slip Gate for transmitter 0048209999 stays; decided by Kim.",
        ),
        (
            "drift.settled",
            {"serial": "0048209999"},
            "Nothing is left of what was changed at Slip Gate for transmitter 0048209999.",
        ),
        (
            "receiver.replaced",
            {"reason": "other-serial", "known": "FQ-0001", "answers": "FQ-0002", "confirmed": False},
            "Slip Gate: another receiver answers, FQ-0002 in the place of FQ-0001.",
        ),
        (
            "receiver.replaced",
            {"reason": "returned", "known": "FQ-0001", "answers": "FQ-0001", "confirmed": True},
            "Slip Gate: the known receiver answers again.",
        ),
        (
            "receiver.replaced",
            {"reason": "confirmed", "known": "FQ-0001", "answers": "FQ-0002", "confirmed": True},
            "Slip Gate: the receiver FQ-0002 was confirmed as the right one.",
        ),
    ],
)
def test_what_other_hands_did(name: str, data: dict[str, Any], sentence: str) -> None:
    """Who did it as far as it is known, and who answers in whose place."""
    assert tell_words(EventName(name), Told("slip-gate", data)) == sentence


def test_no_event_is_told_by_its_name_alone() -> None:
    """Page and command have words of their own for each."""
    assert set(EventName) - set(story_words._SENTENCES) == set()
    assert {name.value for name in EventName} - set(command_words._SENTENCES) == set()


def test_the_way_back_after_a_reset() -> None:
    """What a memory held before it was cleared is named where the roster waits."""
    waiting = {"snapshot_approved": False, "reason": "board-reset", "snapshot": "20260302T080000Z-001-slip-gate"}
    assert "gatepost snapshot restore 20260302T080000Z-001-slip-gate --settings" in wait_sentence(waiting)
    assert "snapshot restore" not in wait_sentence({**waiting, "snapshot": ""})
    assert "snapshot restore" not in wait_sentence({**waiting, "reason": "restore"})
