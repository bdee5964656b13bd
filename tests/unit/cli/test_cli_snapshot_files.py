"""Snapshots as files at the command line: any that an editor or a mail has touched, and which receiver they are of."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from gateway.cli.app import command_line
from gateway.cli.client import ApiProblem
from gateway.cli.snapshots import _kept, _read

_ID = "20260302T080000Z-001-slip-gate"
_DOCUMENT = {"id": _ID, "receiver": "slip-gate", "sha256": "0"}


class _Client:
    """A gateway that keeps one snapshot; what is handed in is told."""

    def __init__(self, kept: dict[str, Any] | None = None) -> None:
        self._kept = kept
        self.handed_in: list[Any] = []

    async def get(self, path: str) -> Any:
        if self._kept is None or path != f"/snapshots/{_ID}":
            raise ApiProblem(404, {"type": "urn:gatepost:problem:not-found", "detail": "There is none."})
        return self._kept

    async def send(self, method: str, path: str, body: Any) -> Any:
        assert (method, path) == ("POST", "/snapshots")
        self.handed_in.append(body)
        return {"id": "20260302T080000Z-002-import.slip-gate"}


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "slip-gate.json"
    path.write_text(json.dumps(_DOCUMENT), "utf-8-sig")
    return path


@pytest.mark.parametrize("content", [b"", b"{", b"\xe4", b"[" * 100_000 + b"]" * 100_000])
def test_a_file_that_is_no_document(tmp_path: Path, content: bytes) -> None:
    """No trace; what to name instead."""
    path = tmp_path / "file.json"
    path.write_bytes(content)
    done = CliRunner().invoke(command_line(), ["snapshot", "import", str(path)])
    assert done.exit_code == 1
    assert "is no JSON file." in done.stderr.replace("\n", " ")


def test_a_byte_order_mark_is_no_part_of_it(file: Path) -> None:
    """Editors write one."""
    assert _read(file) == _DOCUMENT


async def test_a_file_that_was_exported_here_is_the_one_that_is_kept(file: Path) -> None:
    """Its own receiver needs no naming again, and nothing is kept twice."""
    client = _Client(_DOCUMENT)
    assert await _kept(client, str(file)) == _ID  # type: ignore[arg-type]
    assert client.handed_in == []


@pytest.mark.parametrize("kept", [None, {**_DOCUMENT, "sha256": "1"}])
async def test_any_other_file_is_handed_in(file: Path, kept: dict[str, Any] | None) -> None:
    """Also one that has the id of another one here: ids of two sites may well be the same."""
    client = _Client(kept)
    assert await _kept(client, str(file)) == "20260302T080000Z-002-import.slip-gate"  # type: ignore[arg-type]
    assert client.handed_in == [_DOCUMENT]
