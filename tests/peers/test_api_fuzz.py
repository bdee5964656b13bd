"""Schemathesis, an independent reader of the OpenAPI document, against a running gateway with an admin token.

It makes requests from the document, right and wrong ones, follows what answers link to, and holds every answer to the
document: no 5xx, no status, header, type or shape that is not described. It stands in an environment of its own
(`.venv-fuzz`), for it brings a plugin for pytest and much else. A long run, with the seed that it prints:

    GATEPOST_FUZZ_EXAMPLES=1000 GATEPOST_FUZZ_SEED=$RANDOM pytest tests/peers/test_api_fuzz.py
"""

from __future__ import annotations

import asyncio
import os
import re
import shutil
import subprocess
from asyncio.subprocess import PIPE, STDOUT
from pathlib import Path

import pytest

from gateway.api.limits import Limits
from gateway.clock import SystemClock
from tests.fakes.api_bench import ApiBench
from tests.integration.yard import Yard, berths, open_yard

_ROOT = Path(__file__).parents[2]
_INSTALL = (
    "python3 -m venv --without-pip .venv-fuzz && "
    "python3 -m pip --python .venv-fuzz/bin/python install -r .ci/fuzz-requirements.txt"
)
_EXAMPLES = os.environ.get("GATEPOST_FUZZ_EXAMPLES", "3")
_SEED = os.environ.get("GATEPOST_FUZZ_SEED", "20260302")

#: A stream has no end, so its answer can't be waited for; test_api_stream_answers.py holds it to the document.
_NOT_HERE = ("--exclude-operation-id", "streamEvents")
#: Ten wrong tokens in a minute shut an address out with 429, where this check wants 401: it has a gateway of its own.
_NOT_ON_A_SITE = ("--exclude-checks", "ignored_auth")


def _schemathesis() -> str:
    own = _ROOT / ".venv-fuzz" / "bin" / "schemathesis"
    found = str(own) if own.exists() else shutil.which("schemathesis")
    if found is None:
        message = f"schemathesis is not installed: {_INSTALL}"
        if os.environ.get("GATEPOST_REQUIRE_PEERS") == "1":
            pytest.fail(message)
        pytest.skip(message)
    return found


def _command(address: str, authorization: str, *options: str) -> list[str]:
    return [
        _schemathesis(), "--config-file", str(_ROOT / "tests" / "peers" / "schemathesis.toml"), "--no-color",
        "run", f"{address}/api/v1/openapi.json", "--url", address, "-H", f"Authorization: {authorization}",
        "--seed", _SEED, "--no-shrink", "--continue-on-failure", "--suppress-health-check", "all",
        "--request-timeout", "30", "--warnings", "off", *_NOT_HERE, *options,
    ]  # fmt: skip


def _fuzz(yard: Yard, token: str) -> str:
    command = _command(yard.daemon.address, f"Bearer {token}", "--max-examples", _EXAMPLES, *_NOT_ON_A_SITE)
    done = subprocess.run(command, cwd=yard.folder, capture_output=True, text=True, check=False)
    said = done.stdout + done.stderr
    crashes = [line for line in yard.daemon.log.read_text().splitlines() if "request.crashed" in line]
    assert done.returncode == 0, said[-20000:] + "\n".join(crashes[:3])
    return said


@pytest.mark.timeout(240 + 20 * int(_EXAMPLES))
def test_no_answer_that_the_document_does_not_tell_of() -> None:
    """Every operation, with right and wrong requests, while the daemon watches a receiver on a real line."""
    _schemathesis()
    with open_yard() as yard:
        yard.line("quayside")
        yard.write_roster(*berths(3))
        yard.write_settings(api="requests_per_minute = 1000000")
        daemon = yard.start()
        daemon.wait_mirrored("slip-gate")
        assert daemon.post("/roster/fetches").status_code == 200
        token = daemon.post("/tokens", {"name": "fuzzer", "scopes": ["admin"]}).json()["secret"]
        said = _fuzz(yard, token)
        assert "Operations:" in said
        assert daemon.get("/gateway")["journal"]["available"]
        log = daemon.log.read_text()
        assert "request.crashed" not in log
        assert "Traceback" not in log


async def test_no_operation_forgets_who_asks(tmp_path: Path) -> None:
    """Whatever an operation grants a good token it refuses without one and with a wrong one, with 401 or 403."""
    bench = ApiBench(clock=SystemClock(), limits=Limits(failures=1_000_000, requests_per_minute=1_000_000))
    async with bench.served("admin") as client:
        command = _command(
            client.base, client.headers["Authorization"], "--phases", "examples,coverage", "--checks", "ignored_auth"
        )
        process = await asyncio.create_subprocess_exec(*command, cwd=tmp_path, stdout=PIPE, stderr=STDOUT)
        said, _ = await process.communicate()
    assert process.returncode == 0, said.decode()[-20000:]
    tested = re.search(rb"Tested: (\d+)", said)
    assert tested is not None
    assert int(tested[1]) > 80
