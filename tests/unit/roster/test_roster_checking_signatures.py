"""`roster check --public-key`: the signatures beside the files, judged as a gateway would."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from gateway.domain.roster import Fault
from gateway.errors import SettingsFault
from gateway.roster.checking_signatures import check_signatures
from gateway.roster.trusted_comment import SignedTerms
from tests.fakes.minisigner import Signer

BERLIN = ZoneInfo("Europe/Berlin")
NOW = datetime(2026, 3, 2, 8, tzinfo=UTC)
SIGNER, OTHER = Signer(), Signer(bytes(range(1, 33)), b"else key")


def written(folder: Path, comment: str = "revision: 7", groups_comment: str = "revision: 7") -> tuple[Path, Path]:
    """A roster and a groups file, signed."""
    paths = folder / "people.csv", folder / "groups.toml"
    for path, said in zip(paths, (comment, groups_comment), strict=True):
        path.write_bytes(b"content")
        (folder / f"{path.name}.minisig").write_bytes(SIGNER.sign(b"content", said))
    return paths


def checked(paths: tuple[Path, Path], *keys: str) -> SignedTerms | Fault:
    return check_signatures(*paths, keys or (SIGNER.public,), BERLIN, NOW)


def test_what_the_signatures_state(tmp_path: Path) -> None:
    """Revision and end; one key that fits is enough, and it may stand in minisign's file."""
    paths = written(tmp_path, "revision: 7 expires: 2026-12-31")
    end = datetime(2027, 1, 1, tzinfo=BERLIN)
    assert checked(paths) == SignedTerms(7, end)
    (tmp_path / "quay.pub").write_text(f"untrusted comment: minisign public key\n{SIGNER.public}\n")
    assert checked(paths, OTHER.public, str(tmp_path / "quay.pub")) == SignedTerms(7, end)


def test_what_is_wrong_with_them(tmp_path: Path) -> None:
    """Another key, another content, other revisions, an end that is over, none at all: each told as a fault."""
    paths = written(tmp_path)
    found = [checked(paths, OTHER.public)]
    found.append(checked(written(tmp_path, "revision: 7", "revision: 8")))
    found.append(checked(written(tmp_path, "revision: 7 expires: 2026-02-28")))
    paths = written(tmp_path)
    paths[0].write_bytes(b"contents")
    found.append(checked(paths))
    (tmp_path / "people.csv.minisig").unlink()
    found.append(checked(paths))
    faults = [fault for fault in found if isinstance(fault, Fault)]
    assert len({fault.found for fault in faults}) == 5
    assert all(fault.remedy and fault.file == "people.csv.minisig" for fault in faults)


@pytest.mark.parametrize("key", ["RWnope", "nowhere.pub", ""])
def test_a_key_that_is_none(tmp_path: Path, key: str) -> None:
    """Wrong usage, not a fault of the roster."""
    with pytest.raises(SettingsFault) as fault:
        checked(written(tmp_path), key)
    assert fault.value.remedy
