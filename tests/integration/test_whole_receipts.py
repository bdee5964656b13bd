"""Proof for others, end to end: made by a running daemon, handed out, and verified by openssl and by command alone."""

from __future__ import annotations

import base64
import hashlib
import json
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.integration.yard import Yard, berths, gatepost, memory_sums, open_yard


@pytest.fixture
def yard() -> Iterator[Yard]:
    with open_yard() as yard:
        yard.line("quayside")
        yard.write_settings()
        yard.write_roster(*berths(40))
        yield yard


def openssl_holds(folder: Path, receipt: dict[str, Any], pem: str) -> bool:
    """By openssl, over bytes that json of the standard library makes."""
    text = json.dumps(receipt["receipt"], sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    (folder / "signed").write_bytes(text.encode())
    (folder / "signature").write_bytes(base64.b64decode(receipt["signature"]))
    (folder / "key.pem").write_text(pem)
    command = "openssl pkeyutl -verify -pubin -inkey key.pem -rawin -in signed -sigfile signature"
    done = subprocess.run(command.split(), cwd=folder, capture_output=True, check=False, timeout=20)
    return done.returncode == 0


def test_a_receipt_from_the_sync_to_somebody_elses_hands(yard: Yard, tmp_path: Path) -> None:
    """Written and proven, proven again with nothing to write; a forged copy is refused; the daemon isn't needed."""
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    assert yard.run("receipt", "list").out.startswith("There are no receipts yet.")
    applied = yard.run("roster", "apply")
    assert applied.code == 0, applied.said
    assert "Receipt 00000001-slip-gate." in applied.out
    again = yard.run("roster", "apply", "--json").json
    assert [plan["receipt"] for plan in again] == ["00000002-slip-gate"]

    listed = yard.run("receipt", "list", "--json").json
    assert [(row["id"], row["written"], row["transmitters"], row["fault"]) for row in listed] == [
        ("00000002-slip-gate", 0, 40, ""),
        ("00000001-slip-gate", 40, 40, ""),
    ]
    file, key = tmp_path / "receipt.json", tmp_path / "fennel-quay.pem"
    assert yard.run("receipt", "show", "00000001-slip-gate", "--out", file).code == 0
    assert yard.run("receipt", "key", "--out", key).code == 0
    receipt = json.loads(file.read_text())
    plan = daemon.get(f"/plans/{receipt['receipt']['plan']['id']}")
    assert (plan["state"], plan["receipt"]) == ("applied", "00000001-slip-gate")
    files = yard.roster.read_bytes() + yard.groups.read_bytes()  # as `cat roster groups | sha256sum`
    assert receipt["receipt"]["roster"]["digest"] == hashlib.sha256(files).hexdigest()

    revoked_and_restored(yard, tmp_path, key)

    daemon.stop()
    yard.lines["quayside"].tell("@1 show status")  # it lives; pymodbus asks it what the receipt states
    sums = memory_sums(yard.folder / "quayside")
    words = sums[2:66]
    crcs = [f"{words[n]:04x}{words[n + 1]:04x}" for n in range(0, len(words), 2)]
    held = json.loads((tmp_path / "restored.json").read_text())["receipt"]["memory"]
    assert (held["block_crc32"], held["revision"]) == (crcs, (sums[0] << 16) + sums[1])
    assert receipt["receipt"]["memory"]["block_crc32"] == crcs, "the snapshot was of what the roster wants"

    good = gatepost("receipt", "verify", file, "--public-key", key)
    assert (good.code, good.out.splitlines()[0]) == (
        0, f"Good: signed with the key {receipt['receipt']['key']} and unchanged since.",
    )  # fmt: skip
    assert openssl_holds(tmp_path, receipt, key.read_text())

    receipt["receipt"]["memory"]["transmitters"] = 39
    file.write_text(json.dumps(receipt))
    assert not openssl_holds(tmp_path, receipt, key.read_text())
    forged = gatepost("receipt", "verify", file, "--public-key", key, "--json")
    assert (forged.code, forged.json["ok"], forged.json["code"]) == (1, False, "receipt-forged")
    other = tmp_path / "other.pem"
    subprocess.run(["openssl", "genpkey", "-algorithm", "ed25519", "-out", tmp_path / "secret"], check=True)
    subprocess.run(["openssl", "pkey", "-in", tmp_path / "secret", "-pubout", "-out", other], check=True)
    assert gatepost("receipt", "verify", file, "--public-key", other).code == 1
    assert gatepost("receipt", "verify", tmp_path / "none.json", "--public-key", key).code == 2


def revoked_and_restored(yard: Yard, folder: Path, key: Path) -> None:
    """A lost transmitter, and the memory of before brought back: each with a receipt that says what was done."""
    lost = "0048200003"
    taken = yard.run("snapshot", "take", "slip-gate", "--json").json
    done = yard.run("revoke", lost, "--reason", "lost on the pontoon")
    assert (done.code, "slip-gate: gone, proven by reading the memory (receipt 00000003-slip-gate)" in done.out) == (
        0,
        True,
    )
    (event,) = [e for e in yard.daemon.events() if e["type"].endswith("revocation.applied")]
    file = folder / "revoked.json"
    assert yard.run("receipt", "show", event["data"]["receipt"], "--out", file).code == 0
    assert f"hand on: {lost}:{event['data']['salt']}" in yard.run("receipt", "show", event["data"]["receipt"]).out
    receipt = json.loads(file.read_text())
    salted = f"{lost}:{event['data']['salt']}"
    assert receipt["receipt"]["revoked"] == [hashlib.sha256(salted.encode()).hexdigest()]
    assert lost not in file.read_text()
    listed = yard.run("receipt", "list", "--limit", "1").out
    assert "revocation: 1 transmitter gone, 1 slot freed; then 39 transmitters at revision " in listed
    assert openssl_holds(folder, receipt, key.read_text())
    good = gatepost("receipt", "verify", file, "--public-key", key, "--revoked", salted)
    assert (good.code, f"Transmitter {lost} is one of those that it proves to be gone." in good.out) == (0, True)
    other = gatepost("receipt", "verify", file, "--public-key", key, "--revoked", salted.replace("3:", "4:"))
    assert (other.code, "says nothing of transmitter 0048200004" in other.err) == (1, True)
    assert f"receipt {event['data']['receipt']}" in yard.run("roster", "history", "--serial", lost).out

    assert yard.run("revoke", lost, "--lift", "--reason", "found").code == 0
    assert yard.run("snapshot", "restore", taken["id"], "--yes").code == 0
    newest = yard.daemon.get("/receipts", limit=1)["receipts"][0]
    assert (newest["done"], newest["snapshot"], newest["transmitters"], newest["equal"]) == (
        "restore", taken["id"], 40, True,
    )  # fmt: skip
    shown = yard.run("receipt", "show", newest["id"])
    assert f"restore of the snapshot {taken['id']}; 1 slot written" in shown.out
    assert yard.run("receipt", "show", newest["id"], "--out", folder / "restored.json").code == 0
    assert openssl_holds(folder, json.loads((folder / "restored.json").read_text()), key.read_text())


def test_a_tampered_and_a_lost_file_are_seen_and_the_chain_goes_on(yard: Yard) -> None:
    """The gateway itself says which of its receipts can't be believed, over a restart; a new key is told of."""
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    for _ in range(3):
        assert yard.run("roster", "apply").code == 0
    daemon.kill()
    folder = yard.folder / "state" / "receipts"
    first = folder / "00000001-slip-gate.json"
    first.write_text(first.read_text().replace("fennel-quay", "fennel-bay"))
    (folder / "00000002-slip-gate.json").write_bytes(b'{"receipt": {')
    (yard.folder / "state" / "receipt.key").unlink()
    daemon.start()
    daemon.wait_mirrored("slip-gate")
    assert yard.run("roster", "apply").code == 0
    rows = {row["number"]: row for row in daemon.get("/receipts")["receipts"]}
    assert {number: bool(row["fault"]) for number, row in rows.items()} == {1: True, 2: True, 3: False, 4: False}
    assert rows[4]["key"] != rows[3]["key"]
    assert [key["id"] for key in daemon.get("/receipts/keys")["keys"]] == [rows[4]["key"], rows[3]["key"]]
    assert daemon.client.get("/receipts/00000001-slip-gate").status_code == 409
    listed = yard.run("receipt", "list").out
    assert "NOT TO BE BELIEVED" in listed
    assert "00000002-slip-gate  DAMAGED: " in listed
    page = daemon.get("/receipts", limit=3)
    assert [row["number"] for row in daemon.get("/receipts", limit=3, cursor=page["next"])["receipts"]] == [1]
