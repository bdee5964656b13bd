"""Sessions of people at the page: a cookie in place of a token.

Who signs in shows a token once; from then on the browser sends a cookie that no script can read. Only the SHA-256 of
its value is kept, in memory: after a restart people sign in again. A session has the scopes of its token and ends with
it, at sign-out, after 12 hours without a request, and after 30 days in any case (our choice: a desk stays signed in
from day to day, a phone that was lost does not for ever).
"""

from __future__ import annotations

import hashlib
import secrets
from collections import OrderedDict
from dataclasses import dataclass

from gateway.clock import Clock
from gateway.ports import Token, Tokens

__all__ = ["IDLE_S", "LONGEST_S", "Session", "Sessions"]

IDLE_S = 12 * 3600.0
LONGEST_S = 30 * 24 * 3600.0
_MOST = 200  # beyond it the one that was idle longest ends
_VALUE_BYTES = 32


@dataclass(slots=True)
class Session:
    """`key` names it inside the program. Times are monotonic."""

    key: str
    token_id: str
    opened_s: float
    used_s: float

    def left_s(self, now: float) -> float:
        """Seconds until it ends by itself if nothing more is asked."""
        return min(self.used_s + IDLE_S, self.opened_s + LONGEST_S) - now


class Sessions:
    """Those that are open."""

    def __init__(self, tokens: Tokens, clock: Clock) -> None:
        self._tokens = tokens
        self._clock = clock
        self._open: OrderedDict[str, Session] = OrderedDict()

    def open(self, token_id: str) -> tuple[Session, str]:
        """A new session and the value of its cookie, which is kept nowhere."""
        value = secrets.token_urlsafe(_VALUE_BYTES)
        now = self._clock.monotonic()
        session = Session(_key(value), token_id, now, now)
        self._open[session.key] = session
        while len(self._open) > _MOST:
            self._open.popitem(last=False)
        return session, value

    def use(self, value: str) -> tuple[Session, Token] | None:
        """The session behind a cookie and its token, as a request comes with it; None when there is none."""
        session = self._open.get(_key(value))
        if session is None or (token := self._lives(session)) is None:
            return None
        session.used_s = self._clock.monotonic()
        self._open.move_to_end(session.key)
        return session, token

    def find(self, key: str) -> Session | None:
        """The session of this key while it lives."""
        session = self._open.get(key)
        return session if session is not None and self._lives(session) is not None else None

    def end(self, key: str) -> None:
        """Its cookie is worth nothing from now on."""
        self._open.pop(key, None)

    def _lives(self, session: Session) -> Token | None:
        token = next((token for token in self._tokens.list() if token.id == session.token_id), None)
        if token is None or session.left_s(self._clock.monotonic()) <= 0:
            self.end(session.key)
            return None
        return token


def _key(value: str) -> str:
    return hashlib.sha256(value.encode("utf-8", "surrogatepass")).hexdigest()
