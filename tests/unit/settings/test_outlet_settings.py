"""Settings of outlets: strict, documented, and turned into outlets with their secrets read."""

from __future__ import annotations

import csv
import os
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

from gateway.daemon.outlet_plans import About, Running, plan_outlet
from gateway.daemon.parts import plan_parts
from gateway.errors import SettingsFault
from gateway.outlets.alarm.codes import DEFAULT_CODES, OFF_BY_DEFAULT, Code, Coded
from gateway.outlets.alarm.frames import Header, build_frame
from gateway.outlets.alarm.outlet import AlarmOutlet
from gateway.ports import Outlet
from gateway.settings import Settings, parse_settings
from gateway.settings.outlets import AlarmSettings, MailSettings, MqttSettings, WebhookSettings
from tests.fakes.clock import FakeClock
from tests.fakes.doc_examples import DOCS, fenced
from tests.fakes.memory_store import MemoryStore
from tests.fakes.use_cases import FakeTrust

YARD = """
[gateway]
site = "fennel-quay"
[lines.quayside]
port = "/dev/ttyUSB0"
[receivers.slip-gate]
line = "quayside"
[receivers.car-park]
line = "quayside"
address = 2
[gates.slip-gate]
receiver = "slip-gate"
"""
SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
VECTORS = Path(__file__).parents[2] / "vectors"
PAGES = ("webhook", "mqtt", "alarm", "mail")
ABOUT = About("fennel-quay", ("slip-gate", "car-park"), UTC, "0.1.0")


def settings_of(text: str) -> Settings:
    return parse_settings(YARD + text, "gatepost.toml")


def built(text: str) -> Outlet:
    """The one outlet of a text, over fakes."""
    ((name, outlet),) = settings_of(text).outlets.items()
    clock, store = FakeClock(), MemoryStore()
    return plan_outlet(name, outlet, ABOUT)(
        Running(store.journal, store.runs, FakeTrust(), clock, dict[str, Any], tuple[str, ...])
    )


def secret(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text + "\n")
    os.chmod(path, 0o600)
    return path


@pytest.mark.parametrize("page", PAGES)
async def test_the_example_of_each_page_makes_an_outlet(page: str, tmp_path: Path) -> None:
    """Copied as it stands, with its secrets put where it says, it is a working outlet of that kind."""
    (example,) = fenced(f"outlets/{page}.md", "toml")
    contents = {"harbour-desk.secret": SECRET, "station.key": "00112233445566778899AABBCCDDEEFF"}
    for place in set(re.findall(r'"/etc/gatepost/([a-z.-]+)"', example)):
        secret(tmp_path, place, contents.get(place, "example"))
    outlet = built(example.replace("/etc/gatepost", str(tmp_path)))
    assert outlet.kind == page
    assert outlet.samples()


@pytest.mark.parametrize("page", PAGES)
def test_every_key_stands_on_its_page_and_in_the_settings(page: str) -> None:
    """No setting that people can't find."""
    models: dict[str, type[BaseModel]] = {
        "webhook": WebhookSettings,
        "mqtt": MqttSettings,
        "alarm": AlarmSettings,
        "mail": MailSettings,
    }
    for place in (DOCS / "settings.md", DOCS / "outlets" / f"{page}.md"):
        text = place.read_text()
        assert [key for key in models[page].model_fields if not re.search(rf"\b{key}\b", text)] == []


def test_the_table_of_codes_is_the_codes() -> None:
    """docs/outlets/alarm.md has a row for each, and no other; what each code means is as published."""
    with (VECTORS / "alarm-codes.csv").open(newline="") as file:
        means = {row["code"]: row["means"] for row in csv.DictReader(file)}
    rows = re.findall(
        r"^\| `([a-z.:_-]+)` \| (\d{3}) ([^|]+) \| ([A-Z]{2}) ([^|]+) \| (?:([A-Z]{2}) ([^|]+))? \| (on|off) \|$",
        (DOCS / "outlets" / "alarm.md").read_text(),
        re.MULTILINE,
    )
    assert {(key, int(event), sia, restore, on) for key, event, _, sia, _, restore, _, on in rows} == {
        (key, code.event, code.sia, code.sia_restore, "off" if key in OFF_BY_DEFAULT else "on")
        for key, code in DEFAULT_CODES.items()
    }
    for _, event, event_means, sia, sia_means, restore, restore_means, _ in rows:
        assert (means[event], means[sia], means.get(restore, "")) == (event_means, sia_means, restore_means)


def test_a_code_for_users_has_no_point() -> None:
    """Contact ID's last three digits are a user's number for some codes (SpanDSP's table): 000, for we number none."""
    with (VECTORS / "alarm-codes.csv").open(newline="") as file:
        numbered = {int(row["code"]): row["number"] for row in csv.DictReader(file) if row["number"]}
    assert set(numbered) == {code.event for code in DEFAULT_CODES.values()}
    for event, number in numbered.items():
        assert Coded(Code(event, "DD"), restore=False).contact_id(1, 12)[-3:] == ("000" if number == "user" else "012")
        assert Coded(Code(event, "DD"), restore=False).sia(1, 12) == "Nri1/DD012"


def test_the_frames_of_the_page_are_true() -> None:
    """What docs/outlets/alarm.md shows is what goes out."""
    shown = fenced("outlets/alarm.md", "text")
    when = datetime(2026, 11, 25, 5, 14, 28, tzinfo=UTC)
    (table,) = fenced("outlets/alarm.md", "toml")
    assert '"gate:slip-gate" = 12 ' in table
    wanted = [
        build_frame(Header("ADM-CID", 1, "1234"), "1426 01 012", time=when),
        build_frame(Header("SIA-DCS", 1, "1234"), "Nri1/DM012", time=when),
    ]
    assert [line.encode() for line in shown[-1].splitlines()] == [frame[9:-1] for frame in wanted]


WEBHOOK = '[outlets.desk]\nkind = "webhook"\nurl = "https://desk.example/"\nsecret_files = ["/s"]\n'
ALARM = '[outlets.station]\nkind = "alarm"\naddresses = ["tcp://station.example:12000"]\naccount = "1234"\n'
MQTT = '[outlets.broker]\nkind = "mqtt"\nhost = "broker.example"\n'
MAIL = '[outlets.office]\nkind = "mail"\nhost = "m.example"\nsender = "a@b.example"\nrecipients = ["c@d.example"]\n'


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (WEBHOOK.replace("webhook", "pager"), 'outlets.desk.kind: write "webhook", "mqtt", "alarm" or "mail"'),
        (WEBHOOK.replace('kind = "webhook"\n', ""), 'outlets.desk.kind: write "webhook"'),
        (WEBHOOK + 'urll = "x"', "outlets.desk.urll: unknown key of kind webhook; did you mean url?"),
        (WEBHOOK + 'account = "x"', "outlets.desk.account: unknown key of kind webhook; take it out"),
        (WEBHOOK.replace('url = "https://desk.example/"\n', ""), "outlets.desk.url: this key is needed and missing"),
        (WEBHOOK + 'events = ["link.gone"]', "“link.gone” is no event"),
        (WEBHOOK + 'receivers = ["slip"]', "outlets.desk.receivers: there is no receiver “slip”; receivers are: car-"),
        (ALARM.replace("1234", "12G4"), "outlets.station.account: “12G4” can't stand here; an account has 3 to 16"),
        (ALARM.replace("tcp://", ""), "is no address; write for example tcp://station.example:12000"),
        (ALARM + 'codes = { "gate.open" = "off" }', "“gate.open” is no event; docs/outlets/alarm.md lists the keys"),
        (ALARM + 'codes = { "condition:tamper" = { event = 137, sia = "ta" } }', "a SIA code has two capital letters"),
        (ALARM + 'points = { "slip/2" = 12 }', "outlets.station.points: there is no receiver “slip”"),
        (ALARM + 'points = { "slip-gate/two" = 12 }', "outlets.station.points: “slip-gate/two” names no input; write"),
        (
            ALARM + 'accounts = { "gate:slip" = "1235" }',
            "outlets.station.accounts: there is no gate “slip”; gates are:",
        ),
        (MQTT + 'prefix = "a/#"', "can't stand in front of topics"),
        (MQTT + 'key_file = "/k"', "certificate_file and key_file belong together"),
        (MQTT + 'password_file = "/p"', "username is missing"),
        (MQTT + 'tls = false\nusername = "u"\npassword_file = "/p"', "would cross the network in clear"),
        (MQTT + 'tls = false\nusername = "u"\npassword_file = "/p"\nallow_loopback = true', "would cross the network"),
        (
            MAIL + 'security = "none"\nusername = "u"\npassword_file = "/p"\nallow_loopback = true',
            'security: "none" would send',
        ),
        (MAIL + 'quiet = "22-6"', "write a span such as"),
        (MAIL + 'digest = "25:00"', "write a time such as"),
        (MAIL.replace("c@d.example", "c d"), "write mail addresses"),
        (MAIL.replace("a@b.example", "büro@b.example"), "write a mail address in ASCII"),
        (MAIL.replace("a@b.example", "a@b.example\\nBcc: x@y.example"), "write a mail address"),
        (MAIL + 'username = "u"', "username and password_file belong together"),
        (MAIL + 'security = "none"\nusername = "u"\npassword_file = "/p"', "password in clear"),
    ],
)
def test_what_is_wrong_is_said_with_what_to_write(text: str, words: str) -> None:
    """Place, what was found, and what to write instead."""
    with pytest.raises(SettingsFault) as fault:
        settings_of(text)
    assert words in str(fault.value)


@pytest.mark.parametrize(
    ("form", "text", "size"),
    [("hex", "00" * 16, 16), ("hex", "00" * 24, 24), ("hex", "00" * 32, 32), ("text", "0123456789ABCDEF", 16)],
)
def test_forms_of_an_alarm_key(form: str, text: str, size: int, tmp_path: Path) -> None:
    """Hex digits as most stations give them, or the characters themselves."""
    path = secret(tmp_path, "key", text)
    outlet = built(ALARM + f'key_file = "{path}"\nkey_form = "{form}"')
    assert isinstance(outlet, AlarmOutlet)
    assert len(outlet._plan.key or b"") == size


@pytest.mark.parametrize(("form", "text"), [("hex", "00" * 15), ("hex", "canary-word"), ("text", "canary")])
def test_a_key_of_the_wrong_form_is_never_shown(form: str, text: str, tmp_path: Path) -> None:
    """The sentence says what is wanted, and nothing of what stands there."""
    path = secret(tmp_path, "key", text)
    with pytest.raises(SettingsFault, match="wrong form") as fault:
        built(ALARM + f'key_file = "{path}"\nkey_form = "{form}"')
    assert text not in str(fault.value)


def test_codes_are_changed_switched_off_and_on() -> None:
    """The settings' table lies over the default one."""
    outlet = built(
        ALARM + 'codes = { "condition:tamper" = "off", "transmitter.heard:known" = "on", '
        '"condition:left-open" = { event = 150, sia = "UA" } }'
    )
    assert isinstance(outlet, AlarmOutlet)
    codes = outlet._plan.codes
    assert "condition:tamper" not in codes
    assert codes["transmitter.heard:known"].event == 422
    assert codes["condition:left-open"].sia == "UA"
    with pytest.raises(SettingsFault, match="no code of its own"):
        built(ALARM + 'codes = { "plan.held" = "on" }')


def test_secrets_that_others_can_read_are_refused(tmp_path: Path) -> None:
    """With the command that puts it right."""
    path = secret(tmp_path, "secret", SECRET)
    os.chmod(path, 0o644)
    with pytest.raises(SettingsFault, match="chmod 600"):
        built(WEBHOOK.replace('"/s"', f'"{path}"'))


def test_every_outlet_that_cannot_be_set_up_is_told(tmp_path: Path) -> None:
    """Secrets, certificates and addresses of all of them in one pass."""
    text = (
        WEBHOOK.replace('"/s"', f'"{tmp_path / "missing"}"')
        + MQTT
        + f'ca_file = "{tmp_path / "no.pem"}"\n'
        + MAIL
        + f'username = "u"\npassword_file = "{secret(tmp_path, "empty", "")}"\n'
    )
    with pytest.raises(SettingsFault) as fault:
        plan_parts(settings_of(text), FakeClock())
    first, *told = fault.value.message.splitlines()
    assert first == "3 outlets can't be set up:"
    for words, line in zip(
        ("missing is missing", "no.pem can't be read as certificates", "empty is empty"), told, strict=True
    ):
        assert words in line


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1", "::1"])
def test_a_password_may_go_in_clear_to_this_machine_alone(host: str) -> None:
    """A broker or a mail relay on the same board."""
    more = 'username = "u"\npassword_file = "/p"\nallow_loopback = true\n'
    settings_of(MQTT.replace("broker.example", host) + "tls = false\n" + more)
    settings_of(MAIL.replace("m.example", host) + 'security = "none"\n' + more)
