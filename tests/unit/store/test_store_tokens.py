"""Access tokens: shown once, kept as a hash, found in constant time."""

from __future__ import annotations

import hmac
import re
from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest

from gateway.errors import NotFound, Refused
from gateway.store.opening import Store
from tests.fakes.store_samples import MORNING, both_lives

Opener = Callable[[], Awaitable[Store]]


async def test_a_token_is_found_by_its_secret_until_it_is_removed(store: Store, reopen: Opener) -> None:
    """Also after a restart; another secret finds nothing, and a removed one never again."""
    token, secret = await store.tokens.add("Harbour office", ["roster"])
    other, _ = await store.tokens.add("Wall display", ["view"])
    assert (token.name, token.created) == ("Harbour office", MORNING)
    async for opened in both_lives(store, reopen):
        assert opened.tokens.list() == (token, other)
        assert opened.tokens.find(secret) == token
        assert opened.tokens.find(secret[:-1]) is None
        assert opened.tokens.find("") is None
        assert opened.tokens.find("gp_\ud800") is None
    store = await reopen()
    await store.tokens.remove(token.id)
    async for opened in both_lives(store, reopen):
        assert opened.tokens.find(secret) is None
        assert opened.tokens.list() == (other,)


async def test_a_secret_is_256_bits_in_url_safe_letters(store: Store) -> None:
    """`gp_` and 43 characters, each time others (32 bytes in base64url without padding, RFC 4648 section 5)."""
    secrets = {(await store.tokens.add("Yard", ["view"]))[1] for _ in range(20)}
    assert len(secrets) == 20
    assert all(re.fullmatch(r"gp_[A-Za-z0-9_-]{43}", secret) for secret in secrets)


async def test_the_secret_stands_in_no_file(store: Store, folder: Path) -> None:
    """Neither it nor its random part, before and after closing."""
    _, secret = await store.tokens.add("Yard", ["admin"])
    await store.audit.record("uid 0", "token.add", {"name": "Yard"})
    await store.close()
    files = contents(folder)
    assert len(files) >= 3
    assert [name for name, content in files.items() if secret[3:].encode() in content] == []


def contents(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in folder.rglob("*") if file.is_file()}


@pytest.mark.parametrize(
    ("asked", "given"),
    [
        ({"view"}, {"view"}),
        ({"roster"}, {"roster", "view"}),
        ({"operate"}, {"operate", "view"}),
        ({"admin"}, {"admin", "operate", "roster", "view"}),
        ({"roster", "operate"}, {"roster", "operate", "view"}),
    ],
)
async def test_scopes_imply_others(store: Store, asked: set[str], given: set[str]) -> None:
    """Who may change may look; admin may everything."""
    token, secret = await store.tokens.add("Yard", asked)
    found = store.tokens.find(secret)
    assert found is not None
    assert found.scopes == token.scopes == given


@pytest.mark.parametrize(
    ("name", "scopes", "code"),
    [("Yard", ["view", "root"], "unknown-scope"), ("Yard", [], "no-scope"), ("  ", ["view"], "no-name")],
)
async def test_a_token_that_makes_no_sense_is_refused(store: Store, name: str, scopes: list[str], code: str) -> None:
    """With what to write instead, and nothing kept."""
    with pytest.raises(Refused) as refused:
        await store.tokens.add(name, scopes)
    assert refused.value.code == code
    assert refused.value.remedy
    assert store.tokens.list() == ()


async def test_removing_what_is_not_there_says_so(store: Store) -> None:
    """And says where the ids are."""
    with pytest.raises(NotFound, match="token list"):
        await store.tokens.remove("t0")


async def test_every_token_is_compared_in_constant_time(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """A match does not end the search, so that time tells nothing."""
    secrets = [(await store.tokens.add("Yard", ["view"]))[1] for _ in range(3)]
    compared: list[str] = []
    real = hmac.compare_digest

    def compare(kept: str, given: str) -> bool:
        compared.append(kept)
        return real(kept, given)

    monkeypatch.setattr(hmac, "compare_digest", compare)
    assert store.tokens.find(secrets[0]) is not None
    assert len(compared) == 3
