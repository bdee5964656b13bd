"""The settings file: broken ones are told with file, line, key and what to write, and end a start with exit code 2."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from pydantic import BaseModel
from typer.testing import CliRunner

from gateway.cli.app import command_line
from gateway.errors import SettingsFault
from gateway.settings import (
    ApiSettings,
    GatewaySettings,
    LineSettings,
    ReceiverSettings,
    Settings,
    load_settings,
    parse_settings,
)

GOOD = """\
[gateway]
site = "fennel-quay"

[lines.quayside]
port = "/dev/ttyUSB0"
baud = 19200

[receivers.slip-gate]
line = "quayside"
address = 1

[roster]
source = "/etc/gatepost/roster.csv"
every_minutes = 15
"""
PAGE = Path(__file__).parents[3] / "docs" / "settings.md"

_BAUD, _ADDRESS, _EVERY, _TOP, _ROSTER = "baud = 19200", "address = 1", "every_minutes = 15", "[gateway]", "[roster]"
#: what is replaced, by what, and the sentences that must come, each from the line to what to write
BROKEN: tuple[tuple[str, str, str], ...] = (
    ('site = "fennel-quay"\n', "", "line 1, gateway.site: this key is needed and missing"),
    ('site = "fennel-quay"', 'site = "Fennel Quay"', "line 2, gateway.site: a name has small letters, digits and hyp"),
    (_TOP, '[gateway]\ntime_zone = "Europe/Lundon"', "line 2, gateway.time_zone: not a time zone of the tz database"),
    (_TOP, "[gateway]\nkeep_heard_days = -1", "line 2, gateway.keep_heard_days: -1 is too small; write at least 1"),
    (_TOP, '[gateway]\nclock = "good"', "line 2, gateway.clock: “good” stands here; write 'auto', 'trusted' or 'untr"),
    (_TOP, "[gateway]\nstate = 5", "line 2, gateway.state: 5 is no path; write it in quotes"),
    (_TOP, '[api]\nlisten = "8470"\n[gateway]', "line 2, api.listen: listen must be HOST:PORT, for example 127.0.0.1"),
    (_TOP, '[api]\nlisten = "0.0.0.0:8470"\n[gateway]', "line 2, api.listen: an address other than loopback needs tl"),
    (_TOP, '[api]\ntls_key = "/k"\n[gateway]', "api.tls_certificate: tls_certificate and tls_key belong together; wri"),
    (_TOP, '[api]\nhosts = "quay"\n[gateway]', 'line 2, api.hosts: “quay” stands here; write a list, for example ["'),
    ("[lines.quayside]", "[lines.Quay_Side]", "line 4, lines.Quay_Side: a name has small letters, digits and hyphens"),
    ('port = "/dev/ttyUSB0"\n', "", "line 4, lines.quayside.port: this key is needed and missing"),
    ('port = "/dev/ttyUSB0"', "port = 3", "line 5, lines.quayside.port: 3 stands here; write text in quotes"),
    ('port = "/dev/ttyUSB0"', 'port = ""', "line 5, lines.quayside.port: it is empty; write something"),
    (_BAUD, 'baud = "19200"', "line 6, lines.quayside.baud: “19200” stands here; write a whole number without quotes"),
    (_BAUD, "baud = true", "line 6, lines.quayside.baud: true stands here; write a whole number without quotes"),
    (_BAUD, "baud = 19200.0", "line 6, lines.quayside.baud: 19200.0 stands here; write a whole number"),
    (_BAUD, 'echo = "yes"', "line 6, lines.quayside.echo: “yes” stands here; write true or false"),
    (_BAUD, "echo = 1", "line 6, lines.quayside.echo: 1 stands here; write true or false"),
    (_BAUD, "stop_bits = true", "line 6, lines.quayside.stop_bits: true stands here; write a whole number"),
    (_ADDRESS, 'polls_per_second = "5"', "polls_per_second: “5” stands here; write a number without quotes"),
    (_ADDRESS, "polls_per_second = 30", "polls_per_second: 30 is too large; write at most 20"),
    (_ADDRESS, 'map = "nope"', "line 10, receivers.slip-gate.map: there is no built-in map “nope”; write one of"),
    (_ADDRESS, 'driver = "nope"', "line 10, receivers.slip-gate.driver: there is no driver “nope”; write one of"),
    (_TOP, "[gate.car-park]\n[gateway]", "line 1, gate: unknown key; did you mean gates?"),
    (_BAUD, "buad = 19200", "line 6, lines.quayside.buad: unknown key; did you mean baud?"),
    (_BAUD, 'baud = "fast"', "line 6, lines.quayside.baud: “fast” stands here; write a whole number without quotes"),
    (_BAUD, "baud = 100", "line 6, lines.quayside.baud: 100 is too small; write at least 300"),
    (_BAUD, 'parity = "even"', "line 6, lines.quayside.parity: “even” stands here; write 'N', 'E' or 'O'"),
    (_BAUD, "stop_bits = 3", "line 6, lines.quayside.stop_bits: 3 stands here; write 1 or 2"),
    (_BAUD, "rs485 = true", "line 6, lines.quayside.rs485: true stands here; write 'off', 'adapter' or 'kernel'"),
    (_BAUD, 'echo = "perhaps"', "line 6, lines.quayside.echo: “perhaps” stands here; write true or false"),
    (_BAUD, "tries = 11", "line 6, lines.quayside.tries: 11 is too large; write at most 10"),
    (_BAUD, "baud = 9600.5", "line 6, lines.quayside.baud: 9600.5 stands here; write a whole number"),
    ('line = "quayside"', 'line = "quay"', "line 9, receivers.slip-gate.line: there is no line “quay”; lines are: qua"),
    (_ADDRESS, "address = 248", "line 10, receivers.slip-gate.address: 248 is too large; write at most 247"),
    (_ADDRESS, "polls_per_second = 0", "line 10, receivers.slip-gate.polls_per_second: 0 is too small; write more th"),
    (_ADDRESS, 'outputs = { one = "gate" }', "line 10, receivers.slip-gate.outputs: “one” is not a number; write for"),
    (
        _ADDRESS,
        'outputs = { 1 = "gate", 2 = "Gate" }',
        "receivers.slip-gate.outputs: 1 and 2 have the same name “Gate”",
    ),
    (_ADDRESS, 'outputs = { 1 = "2" }', "“2” is the number of another output; put a letter to the name"),
    (_ADDRESS, 'outputs = { 1 = "slip gate" }', "“slip gate” can't be written in a roster; use 1 to 32 characters"),
    (_ADDRESS, 'password = "pontoon7"', "line 10, receivers.slip-gate.password: unknown key"),
    (
        _ROSTER,
        '[receivers.car-park]\nline = "quayside"\n[roster]',
        "line 12, receivers.car-park: address 1 on line quay",
    ),
    (_ROSTER, '[lines.workshop]\nport = "/dev/ttyUSB0"\n[roster]', "line 13, lines.workshop.port: /dev/ttyUSB0 alrea"),
    (_ROSTER, "[rooster]", "line 12, rooster: unknown key; did you mean roster?"),
    ('source = "/etc/gatepost/roster.csv"\n', "", "line 12, roster.source: this key is needed and missing"),
    ('"/etc/gatepost/roster.csv"', '["a"]', "line 13, roster.source: a list stands here; write text in quotes"),
    (
        '"/etc/gatepost/roster.csv"',
        '"local"\ngroups = "g.toml"',
        "keeps roster and groups itself; leave out groups, or",
    ),
    (_EVERY, "every_minutes = 0", "line 14, roster.every_minutes: 0 is too small; write at least 1"),
    (_EVERY, 'every_minutes = 5\nschedule = "30 2 * * *"', "roster.schedule: schedule and every_minutes exclude each"),
    (_EVERY, 'schedule = "30 25 * * *"', "line 14, roster.schedule: The timetable '30 25 * * *' can't be used"),
    (_EVERY, 'schedule = "30 2 * * 0"', "weekdays are written as names (mon ... sun), since numbers mean different"),
    (
        _EVERY,
        'encoding = "slipway"',
        "line 14, roster.encoding: “slipway” is no text encoding; write for example cp125",
    ),
    (_EVERY, 'unknown = "keep"', "line 14, roster.unknown: “keep” stands here; write 'remove' or 'report'"),
    (_TOP, "[gateway", "is not valid TOML: Expected ']' at the end of a table declaration (at line 1, column 9)"),
    (_TOP, '[gateway]\nsite = "twice"', "is not valid TOML: Cannot overwrite a value (at line 3"),
)


@pytest.mark.parametrize(("old", "new", "sentence"), BROKEN)
def test_a_broken_file(tmp_path: Path, old: str, new: str, sentence: str) -> None:
    """Exit 2 from the command, before anything else is looked at; file, line, key and what to write."""
    assert old in GOOD
    path = tmp_path / "gatepost.toml"
    path.write_text(GOOD.replace(old, new, 1))
    done = CliRunner().invoke(command_line(), ["check", "--config", str(path), "--socket", str(tmp_path / "api.sock")])
    assert done.exit_code == 2
    words = " ".join(done.stderr.split())
    assert words.startswith(str(path))
    assert sentence in words
    assert done.stdout == ""


def test_enough_kinds_of_fault_are_tried() -> None:
    """Thirty at least, each another one."""
    assert len({(old, new) for old, new, _ in BROKEN}) == len(BROKEN) >= 30


def test_all_faults_in_one_pass() -> None:
    """Three places, three lines; nothing else."""
    text = GOOD.replace(_BAUD, "baud = 1").replace(_ADDRESS, "adress = 1").replace(_EVERY, 'unknown = "keep"')
    with pytest.raises(SettingsFault) as caught:
        parse_settings(text, "gatepost.toml")
    first, *places = caught.value.message.splitlines()
    assert first == "gatepost.toml has 3 faults:"
    assert [place.split(",")[0].strip() for place in places] == ["line 6", "line 10", "line 14"]


def test_rules_between_tables_hide_none_of_each_other() -> None:
    """Each table wrong by itself, each rule between tables, and rules within one table: all of them, in file order."""
    text = """\
[gateway]
site = "fennel-quay"
keep_heard_days = 30
[lines.quayside]
port = "/dev/ttyUSB0"
[lines.workshop]
port = "/dev/ttyUSB0"
baud = 1
[lines.yard]
port = "/dev/ttyUSB0"
[receivers.slip-gate]
line = "quay"
outputs = { 1 = "gate", 2 = "lamp" }
operate = ["hoist", "stop"]
[receivers.car-park]
line = "quayside"
map = "nope"
[receivers.hoist]
line = "quayside"
inputs = { 1 = { role = "closed" }, 2 = { role = "open", gate = "boathouse" } }
[gates.slip-gate]
receiver = "slip"
outputs = ["gate"]
[gates.shutter]
receiver = "car-park"
outputs = ["shutter", "door"]
[conditions]
unused_days = 60
[outlets.desk]
kind = "webhook"
url = "https://desk.example/"
secret_files = ["/s"]
events = ["link.gone", "gate.open"]
receivers = ["slip-gate", "pier"]
[outlets.office]
kind = "mail"
host = "mail.example"
sender = "gate@mail.example"
recipients = ["office@mail.example"]
receivers = ["pier"]
username = "gate"
quiet = "22-6"
"""
    with pytest.raises(SettingsFault) as caught:
        parse_settings(text, "gatepost.toml")
    first, *places = caught.value.message.splitlines()
    found = [tuple(place.strip().split(": ", 1)) for place in places]
    assert first == "gatepost.toml has 21 faults:"
    assert [place for place, _ in found] == [
        "line 7, lines.workshop.port",
        "line 8, lines.workshop.baud",
        "line 10, lines.yard.port",
        "line 12, receivers.slip-gate.line",
        *["line 14, receivers.slip-gate.operate"] * 3,
        "line 17, receivers.car-park.map",
        "line 18, receivers.hoist",
        "line 20, receivers.hoist.inputs.1",
        "line 20, receivers.hoist.inputs.2.gate",
        "line 22, gates.slip-gate.receiver",
        *["line 26, gates.shutter.outputs"] * 2,
        "line 28, conditions.unused_days",
        *["line 33, outlets.desk.events"] * 2,
        "line 34, outlets.desk.receivers",
        "line 40, outlets.office.receivers",
        "line 41, outlets.office.username",
        "line 42, outlets.office.quiet",
    ]
    assert [
        words for _, words in found if not re.search(r"(write|name it|give|take|ask|belong to.*;) |are: ", words)
    ] == []


def test_a_key_that_is_wrong_accuses_nobody_else() -> None:
    """What can't be read is not taken for its default: each file below has one fault, and one is told."""
    head = '[gateway]\nsite = "fennel-quay"\n[lines.quayside]\nport = "/dev/ttyUSB0"\n'
    gate = '[receivers.slip-gate]\nline = "quayside"\noutputs = { 1 = "gate" }\n'
    other = '[receivers.car-park]\nline = "quayside"\n'
    moved = '[gates.slip-gate]\nreceiver = "slip-gate"\noutputs = ["gate"]\n'
    for text in (
        head + gate + other + "adress = 2\n",
        head + gate + other + 'address = "two"\n',
        head + gate.replace('"quayside"', "7") + moved,
        head + gate.replace("outputs", "output") + moved,
        head + gate.replace('{ 1 = "gate" }', '["gate"]') + moved,
        head + gate.replace('line = "quayside"', 'kind = "wireless"') + moved,
        head.replace("site", "keep_heard_day = 200\nsite") + gate + "[conditions]\nunused_days = 120\n",
    ):
        with pytest.raises(SettingsFault) as caught:
            parse_settings(text, "gatepost.toml")
        assert caught.value.message.startswith("gatepost.toml has one fault"), caught.value.message


def test_no_value_of_a_secret_is_shown() -> None:
    """A password that somebody wrote into the file itself does not go into the log."""
    with pytest.raises(SettingsFault) as caught:
        parse_settings(GOOD.replace(_ADDRESS, 'password = "pontoon7"'), "gatepost.toml")
    assert "pontoon7" not in str(caught.value)


def test_a_good_file_and_its_defaults(tmp_path: Path) -> None:
    """What is left out has the value that the page names."""
    path = tmp_path / "gatepost.toml"
    path.write_text(GOOD)
    settings = load_settings(path)
    assert settings.api.listen == "127.0.0.1:8470"
    assert settings.api.host_and_port == ("127.0.0.1", 8470)
    assert settings.lines["quayside"].tries == 3
    assert settings.receivers["slip-gate"].polls_per_second == 5
    assert settings.roster is not None
    assert not settings.roster.remote


@pytest.mark.parametrize(("content", "words"), [(None, "can't be read"), (b"\xff\xfe", "is not UTF-8 text")])
def test_a_file_that_is_none(tmp_path: Path, content: bytes | None, words: str) -> None:
    """Missing, or no text: its own sentence."""
    path = tmp_path / "gatepost.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(SettingsFault, match=words):
        load_settings(path)


def _blocks(page: Path) -> list[str]:
    return re.findall(r"```toml\n(.*?)```", page.read_text(), re.S)


def _page_text() -> str:
    _, whole = _blocks(PAGE)
    return whole


def test_the_shortest_files_that_work() -> None:
    """The one of docs/settings.md, and the yard of docs/virtual-receiver.md."""
    shortest, _ = _blocks(PAGE)
    assert list(parse_settings(shortest, "docs/settings.md").receivers) == ["slip-gate"]
    *_, yard = _blocks(PAGE.with_name("virtual-receiver.md"))
    assert list(parse_settings(yard, "docs/virtual-receiver.md").receivers) == ["slip-gate", "car-park"]


def test_the_page_shows_a_file_that_is_good() -> None:
    """The example of docs/settings.md as it stands, and with every commented key put in."""
    parse_settings(_page_text(), "docs/settings.md")


@pytest.mark.parametrize("table", [GatewaySettings, ApiSettings, LineSettings, ReceiverSettings])
def test_every_key_stands_on_the_page(table: type[BaseModel]) -> None:
    """No setting that people can't find."""
    page = PAGE.read_text()
    assert {name for name in table.model_fields if not re.search(rf"\b{name}\b", page)} <= {"operate"}


def test_the_page_has_no_table_of_its_own() -> None:
    """Nothing is shown that the program would refuse."""
    assert set(tomllib.loads(_page_text())) <= set(Settings.model_fields)
