"""Access tokens: made here, shown once, kept only as SHA-256 in the ledger.

A token is 32 random bytes (`secrets.token_urlsafe`), so a fast hash is enough: there is nothing to guess.
Comparing takes the same time whether a token is known or not (`hmac.compare_digest`, RFC 6750 leaves it to us).
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Collection

from gateway.clock import Clock
from gateway.errors import NotFound, Refused
from gateway.ports import Token
from gateway.store.ledger import KeptToken, LedgerFile

__all__ = ["PREFIX", "LedgerTokens"]

#: In front of every secret, so that one which leaked is recognised (in logs, in a repository).
PREFIX = "gp_"
_SECRET_BYTES = 32

#: What each scope lets in besides itself.
_IMPLIED = {
    "view": frozenset({"view"}),
    "roster": frozenset({"roster", "view"}),
    "operate": frozenset({"operate", "view"}),
    "admin": frozenset({"admin", "operate", "roster", "view"}),
}


class LedgerTokens:
    """`ports.Tokens`. A token's `scopes` hold what was asked for and all that it implies."""

    def __init__(self, ledger: LedgerFile, clock: Clock) -> None:
        self._ledger = ledger
        self._clock = clock

    async def add(self, name: str, scopes: Collection[str]) -> tuple[Token, str]:
        """Raises Refused with `unknown-scope`, `no-scope` or `no-name`, and StoreUnavailable."""
        if not name.strip():
            raise Refused("A token needs a name.", remedy="Name the person or program it is for.", code="no-name")
        secret = PREFIX + secrets.token_urlsafe(_SECRET_BYTES)
        token = Token(f"t{secrets.token_hex(4)}", name.strip(), _widened(scopes), self._clock.now())
        await self._ledger.add_token(KeptToken(token, _sha256(secret)))
        return token, secret

    def find(self, secret: str) -> Token | None:
        """Compares with every token, so that the time says nothing of how near a guess came."""
        given = _sha256(secret)
        found = None
        for kept in self._ledger.tokens():
            if hmac.compare_digest(kept.sha256, given):
                found = kept.token
        return found

    def list(self) -> tuple[Token, ...]:
        return tuple(kept.token for kept in self._ledger.tokens())

    async def remove(self, token_id: str) -> None:
        if all(token.id != token_id for token in self.list()):
            raise NotFound(f"There is no token {token_id}.", remedy="`gatepost token list` shows the ids.")
        await self._ledger.remove_token(token_id)


def _widened(scopes: Collection[str]) -> frozenset[str]:
    known = ", ".join(_IMPLIED)
    if unknown := sorted(set(scopes) - _IMPLIED.keys()):
        raise Refused(f"There is no scope {', '.join(unknown)}.", remedy=f"Use {known}.", code="unknown-scope")
    if not scopes:
        raise Refused("A token needs a scope.", remedy=f"Use one or more of {known}.", code="no-scope")
    return frozenset[str]().union(*(_IMPLIED[scope] for scope in scopes))


def _sha256(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()
