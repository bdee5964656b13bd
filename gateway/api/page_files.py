"""The status page's files: read once, served from memory, each with its tag.

The page itself is open: it holds nothing but words and asks the API for all the rest. What it may do is bounded by
its Content-Security-Policy (W3C CSP 3): scripts, styles, pictures and connections of this origin alone, nothing
inline, no frames, and no text that becomes markup (`require-trusted-types-for`).
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files
from importlib.resources.abc import Traversable

from aiohttp import web

from gateway.api.etags import make_tag
from gateway.api.replies import not_modified

__all__ = ["POLICY", "add_page", "is_page_file"]

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'"
)
_TYPES = {
    "html": "text/html; charset=utf-8",
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
    "txt": "text/plain; charset=utf-8",
}
_HEADERS = {
    "Cache-Control": "no-cache",
    "Content-Security-Policy": POLICY,
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
}


@dataclass(frozen=True, slots=True)
class _File:
    body: bytes
    content_type: str
    tag: str


def add_page(app: web.Application) -> None:
    """Serve the page at `/` and its parts below `/page/`. Every file is read now: a missing one stops the start."""
    found = dict(_read(files("gateway.api") / "page", ""))
    start = found.pop("index.html")
    modules = ", ".join(f"</page/{path}>; rel=modulepreload" for path in sorted(found) if path.endswith(".js"))

    async def get_page(request: web.Request) -> web.StreamResponse:
        response = _answer(request, start)
        response.headers["Link"] = modules  # all at once, not one import behind the other (RFC 8288)
        return response

    async def get_part(request: web.Request) -> web.StreamResponse:
        part = found.get(request.match_info["path"])
        if part is None:
            raise web.HTTPNotFound
        return _answer(request, part)

    app.router.add_get("/", get_page)
    app.router.add_get("/page/{path:.+}", get_part)


def is_page_file(path: str) -> bool:
    """Whether it is one of the page's own files, which are served from memory to anybody."""
    return path == "/" or path.startswith("/page/")


def _answer(request: web.Request, file: _File) -> web.Response:
    if (unchanged := not_modified(request, file.tag)) is not None:
        unchanged.headers.update(_HEADERS)
        return unchanged
    return web.Response(body=file.body, headers={**_HEADERS, "Content-Type": file.content_type, "ETag": file.tag})


def _read(folder: Traversable, path: str) -> list[tuple[str, _File]]:
    found = []
    for item in folder.iterdir():
        if item.is_dir():
            found += _read(item, f"{path}{item.name}/")
        elif (kind := _TYPES.get(item.name.rpartition(".")[2])) is not None:
            body = item.read_bytes()
            found.append((path + item.name, _File(body, kind, make_tag(body))))
    return found
