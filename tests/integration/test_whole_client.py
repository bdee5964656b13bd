"""The example of docs/client.md, run as it stands against a gateway with a receiver."""

from __future__ import annotations

import subprocess
import sys

from tests.fakes.doc_examples import fenced
from tests.integration.yard import berths, open_yard


def test_the_example_works() -> None:
    """Read, change, plan, problem and stream, by a program of somebody else's; then the same with nobody there."""
    (example,) = fenced("client.md", "python")
    with open_yard() as yard:
        yard.line("quayside")
        yard.write_roster(*berths(3))
        yard.write_settings()
        daemon = yard.start()
        daemon.wait_mirrored("slip-gate")
        assert daemon.post("/roster/fetches").status_code == 200
        token = yard.folder / "token"
        token.write_text(daemon.post("/tokens", {"name": "example", "scopes": ["admin"]}).json()["secret"] + "\n")
        environment = {"GATEPOST_URL": daemon.address, "GATEPOST_TOKEN_FILE": str(token)}
        done = _run(example, environment)
        assert done.returncode == 0, done.stderr
        said = done.stdout.splitlines()
        assert said[0] == "slip-gate online"
        assert said[1].startswith("gate: ")
        assert said[2].removeprefix("plan: ") in ("pending", "applying", "applied")
        assert said[3].startswith("404 not-found The settings name: slip-gate")
        assert said[4].endswith("-1 gateway.started")
        again = _run(example, environment)
        assert again.stdout.splitlines()[2].startswith("plan: "), again.stderr
        assert len(daemon.get("/plans")["plans"]) == 1
        daemon.stop()
        gone = _run(example, environment)
        assert (gone.returncode, "No gateway answers" in gone.stderr) == (1, True), gone.stderr


def test_the_client_needs_nothing_of_the_server() -> None:
    """No models, no store, no command line: what a small program imports stays small."""
    program = "import sys; import gateway.api.client; print(*sorted(sys.modules))"
    loaded = _run(program, {}).stdout.split()
    ours = {name for name in loaded if name.startswith("gateway.") and not name.startswith("gateway.api.client")}
    assert ours == {"gateway.api", "gateway.errors"}
    assert not {"pydantic", "sqlite3", "typer", "serial"} & {*loaded}


def _run(program: str, environment: dict[str, str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-W", "error", "-c", program], env={"PATH": "/usr/bin:/bin", **environment},
        capture_output=True, text=True, check=False, timeout=50,
    )  # fmt: skip
