"""Settings of gates, inputs and conditions: what can be written, and what is refused with what to write instead."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import gateway
from gateway.domain.condition import CONDITIONS, ConditionLimits
from gateway.domain.gate import InputRole
from gateway.domain.why import Reason
from gateway.errors import SettingsFault
from gateway.settings import Settings, parse_settings
from gateway.settings.gates import ConditionSettings, GateSettings, InputSettings, build_gates, build_operables

HEAD = """
[gateway]
site = "fennel-quay"
[lines.quay]
port = "/dev/ttyUSB0"
[receivers.slip-gate]
line = "quay"
outputs = { 1 = "gate", 2 = "lamp" }
"""
GATES = """
[gates.slip-gate]
receiver = "slip-gate"
outputs = ["gate"]
"""
_DOCS = Path(gateway.__file__).parent.parent / "docs"


def _parse(receiver: str = "", rest: str = GATES) -> Settings:
    return parse_settings(HEAD + receiver + "\n" + rest, "gatepost.toml")


def _faults(receiver: str = "", rest: str = GATES) -> str:
    with pytest.raises(SettingsFault) as found:
        _parse(receiver, rest)
    return found.value.message


def test_an_input_is_a_name_or_a_table() -> None:
    """Both stand side by side; a bare name says nothing of what it tells."""
    found = _parse('inputs = { 1 = "gate closed", 2 = { name = "open", role = "open", gate = "slip-gate" } }')
    receiver = found.receivers["slip-gate"]
    assert receiver.input_names == {1: "gate closed", 2: "open"}
    assert [contact.role for contact in receiver.contacts("slip-gate")] == [InputRole.OTHER, InputRole.OPEN]


def test_a_gate_has_its_outputs_by_name_and_its_contacts_by_role() -> None:
    """As plain values, with defaults that the documentation names."""
    found = _parse('inputs = { 3 = { role = "closed", gate = "slip-gate", normal = "high" } }')
    (gate,) = build_gates(found.gates, found.receivers)
    assert (gate.title, gate.outputs, gate.travel_s, gate.stay_open_limit_s) == ("Slip gate", (1,), 30.0, 900.0)
    assert [contact.number for contact in gate.contacts_of(InputRole.CLOSED)] == [3]
    assert found.receivers["slip-gate"].inverted_inputs == {3}


def test_a_gate_may_stay_open_for_ever() -> None:
    """With a word for it."""
    found = _parse(rest=GATES + 'stay_open_limit_s = "none"')
    (gate,) = build_gates(found.gates, found.receivers)
    assert gate.stay_open_limit_s is None


@pytest.mark.parametrize(
    ("receiver", "rest", "words"),
    [
        ('inputs = { 1 = { role = "closed" } }', GATES, "needs its gate"),
        ('inputs = { 1 = { role = "closed", gate = "boathouse" } }', GATES, "there is no gate “boathouse”"),
        ('inputs = { 1 = { rolle = "closed" } }', GATES, "rolle"),
        ("", GATES.replace('["gate"]', '["hoist"]'), "has no output named “hoist”"),
        ("", GATES.replace('receiver = "slip-gate"', 'receiver = "car-park"'), "there is no receiver “car-park”"),
        ("", GATES + GATES.replace("gates.slip-gate", "gates.other"), "an output moves one gate"),
        ('operate = ["hoist"]', GATES, "no output named “hoist”"),
        ("", GATES + "[conditions]\nunused_days = 120", "presses are kept for 90 days"),
        ("", GATES + "[conditions]\nchatter_quiet_s = 5", "chatter_quiet_s"),
    ],
)
def test_what_does_not_fit_is_refused(receiver: str, rest: str, words: str) -> None:
    """With the place and what to write instead."""
    assert words in _faults(receiver, rest)


def test_a_safety_input_is_not_turned_round_while_its_gate_may_be_operated() -> None:
    """Refused by name, whichever receiver the input is on; without remote operation it is the installer's business."""
    turned = 'inputs = { 4 = { role = "safety", gate = "slip-gate", normal = "high" } }'
    assert "a safety input can't be turned round" in _faults(turned + '\noperate = ["Gate"]')
    assert _parse(turned + '\noperate = ["lamp"]').receivers["slip-gate"].inverted_inputs == {4}
    assert _parse(turned).receivers["slip-gate"].operate == ()
    straight = turned.replace("high", "low")
    assert _parse(straight + '\noperate = ["gate"]').receivers["slip-gate"].inverted_inputs == frozenset()


@pytest.mark.parametrize("name", ["stop", "Stop", "emergency-stop", "EmergencyStop", "e-stop", "gate_stop"])
def test_what_is_named_after_a_stop_is_never_operated(name: str) -> None:
    """In any writing: as an output, as a warning, and as the gate's name or title."""
    outputs = f'outputs = {{ 1 = "gate", 2 = "{name}" }}'
    head = HEAD.replace('outputs = { 1 = "gate", 2 = "lamp" }', outputs)
    with pytest.raises(SettingsFault, match="named after a stop"):
        parse_settings(head + f'operate = ["{name}"]\n' + GATES, "gatepost.toml")
    with pytest.raises(SettingsFault, match="named after a stop"):
        parse_settings(head + GATES + f'warning = {{ output = "{name}" }}\n', "gatepost.toml")
    assert parse_settings(head + GATES, "gatepost.toml").receivers["slip-gate"].operate == ()
    assert "named after a stop" in _faults('operate = ["gate"]', GATES + f'title = "The {name}"')


@pytest.mark.parametrize(
    ("warning", "words"),
    [
        ('{ output = "horn" }', "no output named “horn”"),
        ('{ output = "gate" }', "needs an output of its own"),
        ('{ output = "lamp", seconds = 4.9 }', "seconds"),
        ('{ output = "lamp", seconds = 31 }', "seconds"),
    ],
)
def test_a_warning_is_an_output_of_its_own_for_five_seconds_and_more(warning: str, words: str) -> None:
    """16 CFR 1211.14 names 5 s of sound and light."""
    assert words in _faults("", GATES + f"warning = {warning}")


def test_what_may_be_operated_is_one_value() -> None:
    """Whether, whose gate, its safety inputs from whichever receiver, and the warning."""
    inputs = 'inputs = { 4 = { role = "safety", gate = "slip-gate" } }\noperate = ["Gate"]'
    found = _parse(inputs, GATES + 'warning = { output = "lamp", seconds = 6 }')
    gate, lamp = build_operables(found.gates, found.receivers, build_gates(found.gates, found.receivers))
    assert (gate.allowed, gate.gate, [each.number for each in gate.safety]) == (True, "slip-gate", [4])
    assert gate.warning is not None
    assert (gate.warning.output, gate.warning.seconds) == (2, 6.0)
    assert (lamp.allowed, lamp.gate, lamp.safety, lamp.warning) == (False, "", (), None)


def test_the_defaults_are_those_of_the_domain() -> None:
    """The file and the code name the same numbers."""
    assert ConditionSettings().limits == ConditionLimits()


def test_every_key_is_documented() -> None:
    """docs/settings.md has each key of gates, inputs and conditions."""
    page = (_DOCS / "settings.md").read_text()
    for model in (GateSettings, ConditionSettings, InputSettings):
        for key in model.model_fields:
            assert re.search(rf"\b{key}\b", page), key


def test_the_table_of_conditions_is_the_codes() -> None:
    """docs/conditions.md has a row for each, with what the code says of it, and no other."""
    rows = re.findall(
        r"^\| `([a-z-]+)` \| ([^|]+) \| (\w+) \| ([^|]+) \| ([^|]+) \| (\d+|-) \|$",
        (_DOCS / "conditions.md").read_text(),
        re.MULTILINE,
    )
    written = {
        kind.value: (row.meaning, row.weight.value, row.ending.value, row.setting, str(row.alarm_code or "-"))
        for kind, row in CONDITIONS.items()
    }
    found = {row[0]: (row[1], row[2], row[3], row[4].strip("`").replace("-", ""), row[5]) for row in rows}
    assert found == written


@pytest.mark.parametrize("page", ["settings.md", "gates.md"])
def test_the_examples_are_settings(page: str) -> None:
    """What the pages show can be copied: it is read without a fault."""
    *_, example = re.findall(r"```toml\n(.*?)```", (_DOCS / page).read_text(), re.DOTALL)
    if "[gateway]" not in example:
        example = '[gateway]\nsite = "fennel-quay"\n[lines.quayside]\nport = "/dev/ttyUSB0"\n' + example
    found = parse_settings(example, page)
    (gate,) = build_gates(found.gates, found.receivers)
    assert gate.contacts_of(InputRole.CLOSED)


def test_every_reason_is_documented() -> None:
    """docs/gates.md says what each answer to “why does it not open” means."""
    page = (_DOCS / "gates.md").read_text()
    assert all(f"`{reason.value}`" in page for reason in Reason)
