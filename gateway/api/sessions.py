"""Sessions of people at the page: a cookie in place of a token.

Who signs in shows a token once; from then on the browser sends a cookie that no script can read. Only the SHA-256 of
its value is kept, over restarts too, so that a desk is live again by itself. A session has the scopes of its token
and ends with it, at sign-out, after 12 hours without a request, and after 30 days in any case (our choice: a desk
stays signed in from day to day, a phone that was lost does not for ever).
"""

from __future__ import annotations

import hashlib
import secrets
from collections import OrderedDict
from dataclasses import dataclass
from datetime import datetime, timedelta

import structlog

from gateway.clock import Clock
from gateway.errors import StoreError
from gateway.ports import Commit, Documents, Journal, Token, Tokens

__all__ = ["IDLE_S", "LONGEST_S", "KeptSession", "KeptSessions", "Session", "Sessions"]

IDLE_S = 12 * 3600.0
LONGEST_S = 30 * 24 * 3600.0
_MOST = 200  # beyond it the one that was idle longest ends
_VALUE_BYTES = 32
_WRITE_EVERY_S = 3600.0  # a request moves the end; the card is spared
_DOCUMENT = "api.sessions"

_log: structlog.typing.FilteringBoundLogger = structlog.get_logger(__name__)


@dataclass(frozen=True, slots=True)
class KeptSession:
    """A session as it outlives a restart, in wall time."""

    key: str
    token_id: str
    opened: datetime
    used: datetime


@dataclass(frozen=True, slots=True)
class KeptSessions:
    """All of them, the one longest idle first."""

    sessions: tuple[KeptSession, ...] = ()


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

    def __init__(self, *, tokens: Tokens, clock: Clock, journal: Journal, documents: Documents) -> None:
        self._tokens = tokens
        self._clock = clock
        self._journal = journal
        self._open: OrderedDict[str, Session] = OrderedDict()
        self._written_s = clock.monotonic()
        for kept in (documents.load(_DOCUMENT, KeptSessions) or KeptSessions()).sessions:
            self._open[kept.key] = Session(kept.key, kept.token_id, self._then(kept.opened), self._then(kept.used))

    async def open(self, token_id: str) -> tuple[Session, str]:
        """A new session and the value of its cookie, which is kept nowhere."""
        value = secrets.token_urlsafe(_VALUE_BYTES)
        now = self._clock.monotonic()
        session = Session(_key(value), token_id, now, now)
        self._open[session.key] = session
        while len(self._open) > _MOST:
            self._open.popitem(last=False)
        await self._write()
        return session, value

    async def use(self, value: str) -> tuple[Session, Token] | None:
        """The session behind a cookie and its token, as a request comes with it; None when there is none."""
        session = self._open.get(_key(value))
        if session is None or (token := self._lives(session)) is None:
            return None
        session.used_s = self._clock.monotonic()
        self._open.move_to_end(session.key)
        if session.used_s >= self._written_s + _WRITE_EVERY_S:
            await self._write()
        return session, token

    def find(self, key: str) -> Session | None:
        """The session of this key while it lives."""
        session = self._open.get(key)
        return session if session is not None and self._lives(session) is not None else None

    async def end(self, key: str) -> None:
        """Its cookie is worth nothing from now on."""
        if self._open.pop(key, None) is not None:
            await self._write()

    def _lives(self, session: Session) -> Token | None:
        token = next((token for token in self._tokens.list() if token.id == session.token_id), None)
        if token is None or session.left_s(self._clock.monotonic()) <= 0:
            self._open.pop(session.key, None)
            return None
        return token

    async def _write(self) -> None:
        """Signing in and out must work on a full disk too; what could not be kept is gone at the next restart."""
        self._written_s, wall = self._clock.monotonic(), self._clock.now()
        ago = [(each, self._written_s - each.opened_s, self._written_s - each.used_s) for each in self._open.values()]
        kept = KeptSessions(
            tuple(
                KeptSession(each.key, each.token_id, wall - timedelta(seconds=opened), wall - timedelta(seconds=used))
                for each, opened, used in ago
            )
        )
        try:
            await self._journal.commit(Commit(documents={_DOCUMENT: kept}))
        except StoreError as error:
            _log.warning("sessions.not_kept", code=error.code)

    def _then(self, wall: datetime) -> float:
        """A wall time as a monotonic one; a time to come (the clock was set back) counts as now."""
        return self._clock.monotonic() - max(0.0, (self._clock.now() - wall).total_seconds())


def _key(value: str) -> str:
    return hashlib.sha256(value.encode("utf-8", "surrogatepass")).hexdigest()
