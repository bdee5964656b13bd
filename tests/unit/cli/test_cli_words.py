"""Sentences for people: receivers, plans, events, errors; and the exit codes of errors."""

from __future__ import annotations

from typing import Any

import pytest

from gateway.cli.client import ApiProblem, CannotReach
from gateway.cli.console import exit_code
from gateway.cli.words import event_sentence, plan_sentence, receiver_sentence, result_sentence
from gateway.errors import LinkLost, MapFault, Refused, SettingsFault, SourceRefused, SourceUnreachable

_STATUS: dict[str, Any] = {
    "current": True,
    "age_s": 0.1,
    "outputs": [{"name": "gate", "closed": True}, {"name": "", "closed": False}],
    "inputs": [{"name": "gate closed", "state": "violated"}],
}
_PLAN: dict[str, Any] = {
    "id": "p-41", "receiver": "slip-gate", "added": 1, "changed": 0, "removed": 4, "unchanged": 6, "by_hand": False,
    "wire_s": 0.04, "hold": "", "state": "applied", "outcome": "1 added, 4 removed; written and proven in 0.3 s.",
    "gaining": 1, "losing": 4, "receipt": "",
}  # fmt: skip


def test_a_receiver_that_answers() -> None:
    """Outputs and inputs by the names that people gave; the nameless are left out."""
    words = receiver_sentence({"id": "slip-gate", "link": "online"}, _STATUS)
    assert words == "slip-gate answers; outputs: gate on; inputs: gate closed violated."


@pytest.mark.parametrize(
    ("age_s", "words"),
    [(None, "its state is unknown."), (12.4, "last heard 12 s ago"), (600, "last heard 10 min ago"), (9000, "2 h ago")],
)
def test_a_receiver_that_does_not(age_s: float | None, words: str) -> None:
    """Never an old state shown as if it were today's."""
    found = receiver_sentence({"id": "slip-gate", "link": "silent"}, {**_STATUS, "current": False, "age_s": age_s})
    assert found.startswith("slip-gate does not answer, ")
    assert words in found
    assert "gate on" not in found


def test_a_link_state_of_a_newer_daemon() -> None:
    """A word that this program does not know is shown as it is."""
    assert receiver_sentence({"id": "slip-gate", "link": "resting"}, _STATUS).startswith("slip-gate resting; ")


def test_a_plan_and_how_it_ended() -> None:
    """What is done is said once; what is held or failed says what to do or what happened."""
    assert plan_sentence(_PLAN).endswith("6 unchanged; 1 gains and 4 lose something; about 0.1 s on the wire.")
    assert result_sentence(_PLAN) == f"slip-gate: {_PLAN['outcome']}"
    nothing = {**_PLAN, "added": 0, "removed": 0}
    assert result_sentence(nothing) == "slip-gate: nothing to do, all 6 transmitters stand as the roster says."
    assert result_sentence({**nothing, "receipt": "00000007-slip-gate"}).endswith(" says. Receipt 00000007-slip-gate.")
    held = result_sentence({**_PLAN, "state": "held", "hold": "It would remove 4 of 10."})
    assert "Held: It would remove 4 of 10." in held
    assert "gatepost plan approve p-41" in held
    failed = result_sentence({**_PLAN, "state": "failed", "outcome": "Receiver 1 did not answer."})
    assert failed.endswith("failed: Receiver 1 did not answer.")


@pytest.mark.parametrize(
    ("gaining", "losing", "words"),
    [
        (0, 0, "nobody gains or loses anything"), (1, 0, "1 gains something"), (0, 11, "11 lose something"),
        (2, 1, "2 gain and 1 loses something"),
    ],
)  # fmt: skip
def test_who_gains_and_who_loses(gaining: int, losing: int, words: str) -> None:
    """What is nought is left out; one is one."""
    assert f"; {words}; about" in plan_sentence({**_PLAN, "gaining": gaining, "losing": losing})


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("link.lost", {"state": "silent", "problem": "It does not answer."}, "can't be reached: It does not answer."),
        ("plan.failed", {"problem": "Receiver 1 did not answer."},
         "pending changes could not be finished: Receiver 1 did not answer."),
        ("plan.applied", {"reason": "roster"}, "brought up to the roster and proven"),
        ("plan.applied", {"reason": "restore"}, "a snapshot was restored and proven"),
        ("output.mode_changed", {"output": 1, "name": "gate", "mode": "timed", "before": "latching"},
         "output 1 (gate) is set to timed, before latching"),
        ("slot.changed", {"slots": [{}]}, "1 slot changed in its memory"),
        ("drift.found", {"slots": [{}]}, "1 slot was changed by other hands; see: gatepost drift list"),
    ],
)  # fmt: skip
def test_events_in_words(name: str, data: dict[str, Any], words: str) -> None:
    """With the data that docs/events.md lists."""
    event = {"type": f"local.gatepost.{name}", "subject": "slip-gate", "data": data}
    assert event_sentence(event) == f"--:--:--  slip-gate    {words}"


def test_how_many_stand_as_the_roster_says() -> None:
    """None and one are said as people say them."""
    nothing = {**_PLAN, "added": 0, "removed": 0}
    assert plan_sentence({**nothing, "unchanged": 0}).endswith(
        "nothing to do, it holds no transmitter, as the roster says."
    )
    assert plan_sentence({**nothing, "unchanged": 1}).endswith("its one transmitter stands as the roster says.")


def test_an_event_without_a_time_and_one_of_a_newer_daemon() -> None:
    """A clock that is not right gives none; an unknown name is still words."""
    event = {"type": "local.gatepost.barge.moored", "subject": "slip-gate", "data": {}}
    assert event_sentence(event) == "--:--:--  slip-gate    barge moored"


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (SettingsFault("x"), 2),
        (MapFault("x"), 2),
        (LinkLost("x"), 3),
        (CannotReach("x"), 3),
        (SourceUnreachable("x"), 3),
        (SourceRefused("x"), 1),
        (Refused("x"), 1),
        (ApiProblem(504, {"type": "urn:gatepost:problem:no-answer"}), 3),
        (ApiProblem(502, {"type": "urn:gatepost:problem:broken-answer"}), 3),
        (ApiProblem(503, {"type": "urn:gatepost:problem:port-busy"}), 3),
        (ApiProblem(502, {"type": "urn:gatepost:problem:password-refused"}), 1),
        (ApiProblem(502, {"type": "urn:gatepost:problem:not-proven"}), 1),
        (ApiProblem(503, {"type": "urn:gatepost:problem:store-unavailable"}), 1),
        (ApiProblem(401, {"type": "urn:gatepost:problem:token-missing"}), 1),
    ],
)
def test_exit_codes(error: Any, code: int) -> None:
    """1 refused or found wrong, 2 wrong usage or settings, 3 cannot reach."""
    assert exit_code(error) == code


def test_places_of_a_problem() -> None:
    """By pointer, parameter or header; one without a place says nothing that the message does not."""
    problem = ApiProblem(
        422,
        {
            "detail": "The body is wrong.",
            "errors": [
                {"pointer": "#/serial", "detail": "is no serial"},
                {"header": "If-Match", "detail": "is missing"},
                {"detail": "is wrong"},
            ],
        },
    )
    assert problem.places == ["serial: is no serial", "If-Match: is missing"]


def test_nothing_to_do_is_not_all_well() -> None:
    """What the roster wants and nobody writes is never called as the roster says."""
    idle = {**_PLAN, "added": 0, "removed": 0, "unchanged": 7}
    assert plan_sentence(idle) == "slip-gate: nothing to do, all 7 transmitters stand as the roster says."
    left = plan_sentence({**idle, "left_out": ["Berth 2 was taken away by other hands."]})
    assert left == (
        "slip-gate: nothing to do, 7 transmitters as before, and 1 thing left out: gatepost roster preview says what."
    )
