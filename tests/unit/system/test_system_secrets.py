"""Secret files: read whole, refused when others can read them, never shown."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from gateway.errors import SettingsFault
from gateway.system.secrets import read_secret


def secret_file(folder: Path, content: bytes, mode: int = 0o600) -> Path:
    path = folder / "link-password"
    path.write_bytes(content)
    path.chmod(mode)
    return path


@pytest.mark.parametrize(
    ("content", "secret"),
    [(b"slipway", "slipway"), (b"slipway\n", "slipway"), (b"slipway\r\n", "slipway"), (b" sl ip \n\n", " sl ip \n")],
)
def test_one_line_feed_at_the_end_is_the_editors(tmp_path: Path, content: bytes, secret: str) -> None:
    """And nothing else is taken away: blanks may belong to a password."""
    assert read_secret(str(secret_file(tmp_path, content))) == secret


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o660, 0o602, 0o610, 0o644])
def test_a_file_that_others_can_reach_is_refused_with_the_command_to_run(tmp_path: Path, mode: int) -> None:
    """Group or others, reading or writing."""
    path = secret_file(tmp_path, b"slipway", mode)
    with pytest.raises(SettingsFault) as refused:
        read_secret(str(path))
    assert f"{mode:04o}" in refused.value.message
    assert f"chmod 600 {path}" in refused.value.remedy


@pytest.mark.parametrize(
    ("content", "words"), [(b"", "empty"), (b"\n", "empty"), (b"\xff\xfeslipway", "UTF-8"), (b"s" * 70_000, "larger")]
)
def test_what_can_be_no_secret_is_refused_without_showing_it(tmp_path: Path, content: bytes, words: str) -> None:
    """Empty, no text, or far too large; no piece of it stands in the message or its cause."""
    with pytest.raises(SettingsFault, match=words) as refused:
        read_secret(str(secret_file(tmp_path, content)))
    assert refused.value.remedy
    assert "slipway" not in f"{refused.value!r} {refused.value.__cause__!r}"


def test_a_missing_file_and_a_folder_say_what_to_do(tmp_path: Path) -> None:
    """Each with its own sentence; a pipe does not hang the start."""
    os.mkfifo(tmp_path / "pipe", 0o600)
    for name, words in (("gone", "missing"), (".", "no file"), ("pipe", "no file")):
        with pytest.raises(SettingsFault, match=words) as refused:
            read_secret(str(tmp_path / name))
        assert refused.value.remedy


def test_a_credential_comes_from_the_service_managers_folder(tmp_path: Path) -> None:
    """systemd may show group bits for the ACL of the service's user; others are refused all the same."""
    path = secret_file(tmp_path, b"slipway\n", 0o440)
    environment = {"CREDENTIALS_DIRECTORY": str(tmp_path)}
    assert read_secret("credential:link-password", environment) == "slipway"
    path.chmod(0o444)
    with pytest.raises(SettingsFault, match="others"):
        read_secret("credential:link-password", environment)


def test_a_credential_without_a_service_manager_says_what_to_add() -> None:
    """The line for the unit is given."""
    with pytest.raises(SettingsFault) as refused:
        read_secret("credential:link-password", {})
    assert "LoadCredential=link-password:" in refused.value.remedy


@pytest.mark.parametrize("name", ["", "..", "../x", "/etc/passwd", "a b"])
def test_a_credentials_name_is_never_a_path(tmp_path: Path, name: str) -> None:
    """Nothing outside the folder can be named."""
    with pytest.raises(SettingsFault, match="name of a credential"):
        read_secret(f"credential:{name}", {"CREDENTIALS_DIRECTORY": str(tmp_path)})
