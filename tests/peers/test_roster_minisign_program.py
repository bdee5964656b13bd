"""The real minisign: what it signs is accepted here, and what the tests' own signer writes is accepted there."""

from __future__ import annotations

import subprocess
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from gateway.clock import SystemClock
from gateway.errors import SourceRefused
from gateway.ports import Fetched, FetchedRevocations, NotModified
from gateway.roster.building import Reach, Signing, build_list_source, build_source
from gateway.roster.minisign import read_keys
from tests.fakes.minisigner import Signer
from tests.fakes.workbooks import write_xlsx
from tests.peers.conftest import RequireProgram

ROSTER = b"serial,holder,rights\n0048231907,Berth 12,1:slip-gate/gate\n"
GROUPS = b'[groups.berth-holders]\nslip-gate = { 1 = ["gate"] }\n'


@dataclass
class Minisign:
    """The program, a folder of its own, and a key pair without a password."""

    program: str
    folder: Path
    name: str = "quay"

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [self.program, *arguments], cwd=self.folder, capture_output=True, text=True, timeout=20, check=False
        )

    def make_key(self) -> str:
        made = self.run("-G", "-W", "-p", f"{self.name}.pub", "-s", f"{self.name}.key")
        assert made.returncode == 0, made.stderr
        return self.public

    @property
    def public(self) -> str:
        return (self.folder / f"{self.name}.pub").read_text().splitlines()[1]

    def sign(self, file: str, comment: str, *options: str) -> None:
        done = self.run("-S", *options, "-s", f"{self.name}.key", "-t", comment, "-m", file)
        assert done.returncode == 0, done.stderr


@pytest.fixture
def minisign(require_program: RequireProgram, tmp_path: Path) -> Minisign:
    found = Minisign(require_program("minisign", "minisign"), tmp_path)
    found.make_key()
    (tmp_path / "people.csv").write_bytes(ROSTER)
    (tmp_path / "groups.toml").write_bytes(GROUPS)
    return found


async def fetch(minisign: Minisign, keys: list[str] | None = None, *, groups: bool = False) -> Fetched | NotModified:
    signing = Signing(keys or [minisign.public], ZoneInfo("Europe/Berlin"))
    places = str(minisign.folder / "people.csv"), str(minisign.folder / "groups.toml") if groups else None
    return await build_source(*places, reach=Reach(), clock=SystemClock(), signing=signing).fetch(None)


async def test_files_signed_by_the_program(minisign: Minisign) -> None:
    """Roster and groups, each with its own signature."""
    for name in ("people.csv", "groups.toml"):
        minisign.sign(name, "revision: 12 expires: 2099-12-31")
    found = await fetch(minisign, groups=True)
    assert isinstance(found, Fetched)
    assert (found.roster, found.groups, found.revision) == (ROSTER, GROUPS, 12)


async def test_the_programs_own_comment_has_no_revision(minisign: Minisign) -> None:
    """Signed without -t: refused, and the remedy says how to sign."""
    done = minisign.run("-S", "-s", "quay.key", "-m", "people.csv")
    assert done.returncode == 0, done.stderr
    with pytest.raises(SourceRefused, match="no revision") as error:
        await fetch(minisign)
    assert "minisign -S -t" in error.value.remedy


async def test_the_programs_legacy_form(minisign: Minisign) -> None:
    """`-l` signs without the hash: refused."""
    minisign.sign("people.csv", "revision: 12", "-l")
    with pytest.raises(SourceRefused, match="older form"):
        await fetch(minisign)


async def test_altered_after_signing(minisign: Minisign) -> None:
    """The file, and the comment, each by one character; the program agrees."""
    minisign.sign("people.csv", "revision: 12")
    path, beside = minisign.folder / "people.csv", minisign.folder / "people.csv.minisig"
    good = beside.read_bytes()
    beside.write_bytes(good.replace(b"revision: 12", b"revision: 13"))
    with pytest.raises(SourceRefused, match="comment"):
        await fetch(minisign)
    assert minisign.run("-V", "-p", "quay.pub", "-m", "people.csv").returncode != 0
    beside.write_bytes(good)
    path.write_bytes(ROSTER.replace(b"Berth 12", b"Berth 13"))
    with pytest.raises(SourceRefused, match="does not fit"):
        await fetch(minisign)
    assert minisign.run("-V", "-p", "quay.pub", "-m", "people.csv").returncode != 0


async def test_changing_keys(minisign: Minisign) -> None:
    """Both keys are named, files are signed with the new one, then the old one is taken out."""
    new = Minisign(minisign.program, minisign.folder, "new")
    old_key, new_key = minisign.public, new.make_key()
    minisign.sign("people.csv", "revision: 12")
    assert isinstance(await fetch(minisign, [old_key, new_key]), Fetched)
    new.sign("people.csv", "revision: 13")
    assert isinstance(await fetch(minisign, [old_key, new_key]), Fetched)
    assert isinstance(await fetch(minisign, [new_key]), Fetched)
    with pytest.raises(SourceRefused, match="is unknown") as error:
        await fetch(minisign, [old_key])
    comment = (minisign.folder / "new.pub").read_text().splitlines()[0]
    (key,) = read_keys([new_key])
    assert key.name in comment, "a key is called what the program calls it"
    assert key.name in str(error.value)


async def test_a_signed_workbook_and_a_signed_list(minisign: Minisign) -> None:
    """Any bytes can be signed; the revocation list is signed the same way."""
    people = [["serial", "holder", "rights"], ["0048231907", "Berth 12", "1:slip-gate/gate"]]
    (minisign.folder / "people.csv").write_bytes(write_xlsx({"people": people}))
    minisign.sign("people.csv", "revision: 1")
    assert isinstance(await fetch(minisign), Fetched)
    (minisign.folder / "revocations").write_text("gatepost revocations 1\n0048231907 lost\n")
    minisign.sign("revocations", "revision: 4")
    signing = Signing([minisign.public], ZoneInfo("UTC"))
    place = str(minisign.folder / "revocations")
    found = await build_list_source(place, reach=Reach(), clock=SystemClock(), signing=signing).fetch(None)
    assert isinstance(found, FetchedRevocations)
    assert (found.revision, [entry.serial for entry in found.entries]) == (4, [48231907])


def test_the_tests_signer_is_held_to_the_program(minisign: Minisign) -> None:
    """What the other tests sign with, minisign accepts, comment and all."""
    signer = Signer()
    (minisign.folder / "people.csv.minisig").write_bytes(signer.sign(ROSTER, "revision: 5, by hand"))
    done = minisign.run("-V", "-H", "-P", signer.public, "-m", "people.csv")
    assert done.returncode == 0, done.stderr
    assert "revision: 5, by hand" in done.stdout
