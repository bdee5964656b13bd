"""A request with an `Idempotency-Key` over a power cut: done once, answered twice."""

from __future__ import annotations

from tests.integration.yard import berths, open_yard


def test_a_request_is_done_once_over_a_power_cut() -> None:
    """The second answer is the first one; the key stands for one body; health tells what the start found."""
    with open_yard() as yard:
        yard.line("quayside")
        yard.write_roster(*berths(3))
        yard.write_settings()
        daemon = yard.start()
        daemon.wait_mirrored("slip-gate")
        assert daemon.post("/roster/fetches").status_code == 200
        key = {"Idempotency-Key": "monday-morning"}
        first = daemon.client.post("/plans", json={"receiver": "slip-gate"}, headers=key)
        assert first.status_code == 202
        assert "Idempotency-Replayed" not in first.headers

        daemon.kill()
        daemon.start()
        daemon.wait_mirrored("slip-gate")
        second = daemon.client.post("/plans", json={"receiver": "slip-gate"}, headers=key)
        assert (second.status_code, second.headers["Idempotency-Replayed"]) == (202, "true")
        assert second.json() == first.json()
        assert second.headers["Location"] == first.headers["Location"]
        other = daemon.client.post("/plans", json={"receiver": "slip-gate", "preview": True}, headers=key)
        assert (other.status_code, other.json()["type"]) == (422, "urn:gatepost:problem:idempotency-key-reused")
        assert [plan["id"] for plan in daemon.get("/plans")["plans"]] == [first.json()["id"]]
        health = daemon.get("/gateway")["health"]
        assert health == {"live": True, "ready": True, "stuck": [], "lacking": []}
        yard.lines["quayside"].stop()
        daemon.wait_link("slip-gate", "port-lost")
        assert daemon.get("/gateway")["health"]["lacking"] == ["lines"]
        assert daemon.client.get("http://localhost/healthz").status_code == 503
        assert daemon.client.get("http://localhost/healthz/live").status_code == 200
