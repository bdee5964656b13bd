"""The Authorization header, from a secret that somebody else has read from its file.

Sources: RFC 7617 (Basic, user and password in UTF-8), RFC 6750 section 2.1 (Bearer).
"""

from __future__ import annotations

import base64
import re
from enum import StrEnum

from gateway.errors import SettingsFault

__all__ = ["AuthScheme", "authorization"]

_TOKEN = re.compile(r"[A-Za-z0-9._~+/-]+=*")


class AuthScheme(StrEnum):
    """How the source wants to know who asks."""

    BASIC = "basic"
    BEARER = "bearer"


def authorization(scheme: AuthScheme, secret: str) -> str:
    """The header's value. `secret` is `user:password` or a token; raises SettingsFault without ever showing it."""
    secret = secret.strip("\r\n ")
    if scheme is AuthScheme.BEARER:
        if not _TOKEN.fullmatch(secret):
            remedy = "Put the token alone in its file, on one line."
            raise SettingsFault("The roster's secret is not a bearer token.", remedy=remedy)
        return f"Bearer {secret}"
    if ":" not in secret or not secret.isprintable():
        remedy = "Put user:password in its file, on one line."
        raise SettingsFault("The roster's secret is not a user and a password.", remedy=remedy)
    return "Basic " + base64.b64encode(secret.encode("utf-8")).decode("ascii")
