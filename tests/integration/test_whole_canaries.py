"""Canaries: texts that must never get where they don't belong, put in at every door of a whole site.

Secrets (tokens, link password, outlets' secrets) are looked for everywhere: in the log, in the process's arguments and
environment, in the metrics, in error answers, in everything that an admin may read. Holders' names and serials are
looked for where nobody has a right to them: log, metrics, error answers and what a token with `view` alone reads.
"""

from __future__ import annotations

import base64
import itertools
import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx
import pytest

from gateway.api.openapi import build_document
from gateway.api.routes import OPERATIONS
from tests.integration.yard import Yard, open_yard, set_link_password, until

_LINK, _NEW_LINK = "cnrylnk1", "cnrylnk2"
_WEBHOOK = base64.b64encode(b"canary-of-the-webhook-secret").decode()
_MQTT = "canary-mqtt-password"
_WRONG_TOKEN = "canary-wrong-token-0123456789"
_HOLDER, _SERIAL = "Canary Ferryman", "0048231907"
_LOST, _LOST_HOLDER = "0048231911", "Canary Lockkeeper"
_REASON = "lost by Canary Lockkeeper on the pontoon"


@dataclass
class Site:
    """A site after a busy hour: what was said, and the secrets that exist."""

    yard: Yard
    admin: str
    view: str
    problems: list[str] = field(default_factory=list)

    @property
    def secrets(self) -> list[str]:
        """Every secret, as it was written."""
        return [_LINK, _NEW_LINK, _WEBHOOK, _MQTT, _WRONG_TOKEN, self.admin, self.view]

    def get(self, path: str, token: str) -> httpx.Response:
        """Ask over the network with a token; an error's body is kept."""
        address = self.yard.daemon.address
        answer = httpx.get(f"{address}{path}", headers={"Authorization": f"Bearer {token}"}, timeout=30)
        if answer.status_code >= 400:
            self.problems.append(answer.text)
        return answer


def _secret(path: Path, text: str) -> Path:
    path.write_text(text + "\n")
    path.chmod(0o600)
    return path


@pytest.fixture(scope="module")
def site() -> Iterator[Site]:
    """Everything that takes a secret or a name is used, rightly and wrongly, with outlets that lead nowhere."""
    with open_yard() as yard:
        line = yard.line("quayside")
        set_link_password(line.port, _LINK)
        link = _secret(yard.folder / "link", _LINK)
        hook, mqtt = _secret(yard.folder / "hook", f"whsec_{_WEBHOOK}"), _secret(yard.folder / "mqtt", _MQTT)
        yard.write_roster(
            f"{_SERIAL},{_HOLDER},two-button,berth-holders", f"{_LOST},{_LOST_HOLDER},two-button,berth-holders"
        )
        yard.write_settings(
            receiver=f'link_password_file = "{link}"',
            more=f'\n[outlets.desk]\nkind = "webhook"\nurl = "http://127.0.0.1:1/hook"\nsecret_files = ["{hook}"]\n'
            f"allow_plain_http = true\nallow_loopback = true\nallow_private = true\npersonal = true\n"
            f'\n[outlets.broker]\nkind = "mqtt"\nhost = "127.0.0.1"\nport = 1\ntls = false\nallow_loopback = true\n'
            f'username = "fennel-quay"\npassword_file = "{mqtt}"\n',
        )
        daemon = yard.start()
        daemon.wait_mirrored("slip-gate")
        made = [daemon.post("/tokens", {"name": "a test", "scopes": [scope]}).json() for scope in ("admin", "view")]
        site = Site(yard, *(each["secret"] for each in made))
        _live(site)
        yield site


def _live(site: Site) -> None:
    """What happens in a busy hour, right and wrong."""
    yard, daemon = site.yard, site.yard.daemon
    assert yard.run("roster", "apply").code == 0
    yard.lines["quayside"].tell(f"@1 press {_SERIAL} 1")
    yard.lines["quayside"].tell("@1 press 0099999999 1")
    until(lambda: [e for e in daemon.events() if e["type"].endswith("transmitter.heard")], "a press in the journal")
    daemon.post("/revocations", {"serial": _LOST, "reason": _REASON})
    until(lambda: daemon.get(f"/revocations/{_LOST}")["proven"], "a proven revocation")
    yard.lines["quayside"].tell(f"@1 press {_LOST} 1")  # a condition whose sentence has the serial
    until(lambda: daemon.get("/conditions")["conditions"], "the revoked transmitter was used")
    new = _secret(yard.folder / "new", _NEW_LINK)
    assert yard.run("settings", "set", "slip-gate", "--password-file", new).code == 0
    site.get("/api/v1/gateway", _WRONG_TOKEN)
    site.get(f"/api/v1/gateway?access_token={site.admin}", _WRONG_TOKEN)
    for path, body in (
        ("/receivers/slip-gate/settings", {"password": _NEW_LINK + "-much-too-long"}),
        ("/revocations", {"serial": _SERIAL, "reason": "", "holder": _HOLDER}),
        ("/plans", {"receiver": "slip-gate", "holder": _HOLDER}),
        ("/roster/checks", {"roster": f"serial,holder\nx,{_HOLDER}\n"}),
    ):
        for method in ("POST", "PATCH"):
            answer = daemon.client.request(method, path, json=body, headers={"If-Match": '"old"'})
            if answer.status_code >= 400:
                site.problems.append(answer.text)
    daemon.client.request("POST", "/tokens", content=b'{"name": "' + _WRONG_TOKEN.encode())
    until(lambda: all(o["failures"] for o in daemon.get("/outlets")["outlets"]), "outlets that failed")


def _log(site: Site) -> str:
    return site.yard.daemon.log.read_text()


def _reads() -> list[str]:
    """Every address that can be read without knowing an id."""
    document = build_document(OPERATIONS, version="")
    return [
        path.replace("{id}", "slip-gate")
        for path, item in document["paths"].items()
        if "get" in item and "{" not in path.replace("/receivers/{id}", "") and not path.endswith("/stream")
    ]


def test_no_secret_is_in_the_log(site: Site) -> None:
    """Nor a name or a serial, at any level that is written."""
    log = _log(site)
    assert len(log.splitlines()) > 5
    for hidden in (*site.secrets, "Canary", _SERIAL, _LOST, _SERIAL.lstrip("0"), _LOST.lstrip("0")):
        assert hidden not in log, next(line for line in log.splitlines() if hidden in line)


def test_every_line_of_the_log_is_one_event(site: Site) -> None:
    """JSON with an event's name, a level and a time; values are fields, not words in a sentence.

    Before the log begins the very first start says its cautions to whoever gave the command.
    """
    lines = itertools.dropwhile(lambda line: not line.startswith("{"), _log(site).splitlines())
    for line in lines:
        record = json.loads(line)
        assert {"event", "level", "timestamp", "logger"} <= set(record), line
        if record["logger"].startswith("gateway"):
            assert " " not in record["event"], line


def test_no_secret_is_in_the_process(site: Site) -> None:
    """Arguments and environment are open to others on the machine."""
    place = Path(f"/proc/{site.yard.daemon.process.pid}")
    shown = (place / "cmdline").read_bytes() + (place / "environ").read_bytes()
    for hidden in (*site.secrets, "Canary"):
        assert hidden.encode() not in shown


def test_errors_repeat_nothing(site: Site) -> None:
    """A problem never gives back what was sent: it may be a secret in the wrong field."""
    assert len(site.problems) >= 6
    for body in site.problems:
        for hidden in (*site.secrets, "Canary", _SERIAL):
            assert hidden not in body, body


def test_secrets_are_not_to_be_read(site: Site) -> None:
    """By an admin either, at any address: not even hashed, not even in the audit."""
    read = [site.get(path, site.admin) for path in _reads()]
    assert sum(answer.status_code == 200 for answer in read) > 15
    for answer in read:
        for hidden in site.secrets:
            assert hidden not in answer.text, answer.url


def test_names_and_serials_need_a_scope(site: Site) -> None:
    """With `view` alone no address tells who somebody is."""
    read = [site.get(path, site.view) for path in _reads()]
    assert sum(answer.status_code == 200 for answer in read) > 10
    for answer in read:
        assert "Canary" not in answer.text, answer.url


def test_the_state_folder_is_for_the_gateway_alone(site: Site) -> None:
    """0700 and 0600; the link password has its own file, and secrets of tokens and outlets are in none."""
    state = site.yard.folder / "state"
    files = [path for path in state.rglob("*") if path.is_file()]
    assert state.stat().st_mode & 0o077 == 0
    assert len(files) > 3
    for path in files:
        assert path.stat().st_mode & 0o077 == 0, path
        content: Any = path.read_bytes()
        for hidden in (_WEBHOOK, _MQTT, _WRONG_TOKEN, site.admin, site.view):
            assert hidden.encode() not in content, path
        if path.parent.name != "passwords":
            assert _LINK.encode() not in content, path
            assert _NEW_LINK.encode() not in content, path
