"""The session's cookie, and what a request that comes with it must show beside it.

A browser sends a cookie whoever made it ask. So `SameSite=Strict` keeps it away from requests that other sites start,
and a change counts only with a header that no form can send and from our own origin (OWASP, Cross-Site Request
Forgery Prevention: custom header, Origin and Fetch Metadata). No script can read the cookie (`HttpOnly`).
"""

from __future__ import annotations

from aiohttp import web

from gateway.api.faults import RequestFault

__all__ = ["COOKIE", "PAGE_HEADER", "check_origin", "clear_cookie", "cookie_of", "set_cookie"]

COOKIE = "gatepost-session"
PAGE_HEADER = "X-Gatepost-Page"
_SAFE = frozenset({"GET", "HEAD"})


def cookie_of(request: web.Request) -> str | None:
    """The cookie's value; None when it did not come."""
    return request.cookies.get(COOKIE) or None


def set_cookie(request: web.Request, response: web.Response, value: str, max_age_s: float) -> None:
    """Give the browser the session's cookie; for encrypted connections only, when this is one."""
    response.set_cookie(
        COOKIE, value, path="/", max_age=int(max_age_s), httponly=True, samesite="Strict", secure=_encrypted(request)
    )


def clear_cookie(request: web.Request, response: web.Response) -> None:
    """Take it away."""
    response.del_cookie(COOKIE, path="/", httponly=True, samesite="Strict", secure=_encrypted(request))


def check_origin(request: web.Request) -> None:
    """Raises RequestFault with `cross-site` for a request with a cookie that is not our own page's.

    Reading: other sites never, an address that a person typed may. Changing: our page's header and our own origin.
    """
    site, origin = request.headers.get("Sec-Fetch-Site"), request.headers.get("Origin")
    ours = origin is None or origin.partition("://")[2].lower() == request.headers.get("Host", "").lower()
    if request.method in _SAFE:
        allowed = site in (None, "none", "same-origin") and ours
    else:
        told = site is not None or origin is not None
        allowed = PAGE_HEADER in request.headers and told and site in (None, "same-origin") and ours
    if not allowed:
        raise RequestFault(
            "cross-site",
            "A request with the session's cookie must come from the gateway's own page.",
            remedy="Open the page at its own address, or send a token in the Authorization header.",
        )


def _encrypted(request: web.Request) -> bool:
    """Our own TLS, or a proxy's word that it has some: a word that is not true only makes the cookie stricter."""
    return request.secure or request.headers.get("X-Forwarded-Proto", "").lower() == "https"
