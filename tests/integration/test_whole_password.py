"""The link password, changed by command: the daemon goes on, also after a restart with settings that lag behind.

docs/settings.md says where the new one is kept. pymodbus, with the page's addresses, is the judge of what is in force.
"""

from __future__ import annotations

import stat
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.integration.yard import Yard, berths, memory_sums, open_yard, set_link_password

OLD, NEW = "pontoon7", "capstan8"


@pytest.fixture
def yard() -> Iterator[Yard]:
    """A receiver with a link password, and settings that name a file with it."""
    with open_yard() as yard:
        line = yard.line("quayside", "--memory", str(yard.folder / "memory"))
        set_link_password(line.port, OLD)
        _secret(yard.folder / "slip-gate.password", OLD)
        yard.write_settings(receiver=f'link_password_file = "{yard.folder / "slip-gate.password"}"')
        yard.write_roster(*berths(3))
        yield yard


def _secret(path: Path, text: str) -> Path:
    path.write_text(text + "\n")
    path.chmod(0o600)
    return path


def _lock(yard: Yard) -> None:
    """A restart of the receiver locks it, so that the next request has to know the password."""
    line = yard.lines["quayside"]
    assert (line.tell("power off"), line.tell("power on")) == ("ok", "ok")


def test_a_changed_password_outlives_the_daemon(yard: Yard) -> None:
    """Changed, proven, kept 0600 in the state folder; after a restart the settings' old one does no harm."""
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    new = _secret(yard.folder / "new", NEW)
    changed = yard.run("settings", "set", "slip-gate", "--password-file", new)
    assert changed.code == 0, changed.said
    assert changed.out.count("a link password is set") == 2
    assert NEW not in changed.said
    _lock(yard)
    assert yard.run("roster", "apply").code == 0
    kept = yard.folder / "state" / "passwords" / "slip-gate"
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    assert stat.S_IMODE(kept.parent.stat().st_mode) == 0o700

    assert daemon.stop() == 0
    _lock(yard)
    daemon.start()
    daemon.wait_link("slip-gate", "online")
    assert yard.run("settings", "show", "slip-gate").code == 0
    status = yard.run("status")
    assert status.code == 0, status.said
    assert "The link password of slip-gate was changed from here" in status.out
    assert f"Write the new one into {yard.folder / 'slip-gate.password'} as well." in status.out

    _secret(yard.folder / "slip-gate.password", NEW)
    assert "link password" not in yard.run("status").out
    daemon.stop()
    memory_sums(yard.lines["quayside"].port, password=NEW)
    log = daemon.log.read_text()
    assert NEW not in log
    assert OLD not in log


def test_a_state_folder_that_is_lost_leaves_a_clear_state(yard: Yard) -> None:
    """The kept password is gone and the settings name the old one: refused in words; the right file mends it."""
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    assert yard.run("settings", "set", "slip-gate", "--password-file", _secret(yard.folder / "new", NEW)).code == 0
    daemon.stop()
    (yard.folder / "state" / "passwords" / "slip-gate").unlink()
    _lock(yard)
    daemon.start()
    daemon.wait_link("slip-gate", "password-refused")
    applied = yard.run("roster", "apply")
    assert applied.code == 1
    assert "slip-gate refused the link password" in applied.err
    assert "link_password_file" in applied.err
    _secret(yard.folder / "slip-gate.password", NEW)
    daemon.wait_link("slip-gate", "online")
    assert yard.run("roster", "apply").code == 0


def test_a_password_switched_off_and_one_set_where_there_was_none(yard: Yard) -> None:
    """An empty file switches it off; set again, the gateway knows it though the settings' file has another."""
    yard.start().wait_mirrored("slip-gate")
    empty = _secret(yard.folder / "empty", "")
    off = yard.run("settings", "set", "slip-gate", "--password-file", empty, "--json")
    assert off.code == 0, off.said
    assert (off.json["before"]["password_set"], off.json["after"]["password_set"]) == (True, False)
    on = yard.run("settings", "set", "slip-gate", "--password-file", _secret(yard.folder / "new", NEW), "--json")
    assert on.json["after"]["password_set"] is True
    _lock(yard)
    assert yard.run("roster", "apply").code == 0


def test_a_password_that_no_receiver_can_keep(yard: Yard) -> None:
    """Too long, or with a blank: exit 1 and what to choose; the old one still opens."""
    yard.start().wait_mirrored("slip-gate")
    for text in ("ninechars", "two word"):
        done = yard.run("settings", "set", "slip-gate", "--password-file", _secret(yard.folder / "new", text))
        assert done.code == 1, done.said
        assert "Use up to 8 letters without accents, digits or signs" in done.err
        assert text not in done.said
    assert yard.run("settings", "set", "slip-gate", "--password-file", yard.folder / "none").code == 2
    yard.daemon.stop()
    memory_sums(yard.lines["quayside"].port, password=OLD)
