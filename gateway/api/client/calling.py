"""What the methods written from the OpenAPI document stand on."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping
from typing import Any, Generic, NamedTuple, TypeVar
from urllib.parse import quote

__all__ = ["Calling", "Tagged"]

T = TypeVar("T")


class Tagged(NamedTuple, Generic[T]):
    """An answer with its ETag, which a change of it has to name as `if_match`."""

    value: T
    etag: str


class Calling:
    """Fills in a path, leaves out what was not given, and leaves sending to `_exchange`."""

    @abstractmethod
    async def _exchange(
        self, method: str, path: str, *, query: Mapping[str, Any], body: object, headers: Mapping[str, str]
    ) -> tuple[Any, bytes, str]:
        """Send; the answer's JSON (None when it is none), its bytes, and its ETag. Raises what the client raises."""

    async def _call(self, method: str, template: str, **more: Any) -> Any:
        return (await self._send_filled(method, template, **more))[0]

    async def _call_tagged(self, method: str, template: str, **more: Any) -> Tagged[Any]:
        document, _, etag = await self._send_filled(method, template, **more)
        return Tagged(document, etag)

    async def _download(self, method: str, template: str, **more: Any) -> bytes:
        return (await self._send_filled(method, template, **more))[1]

    async def _send_filled(
        self,
        method: str,
        template: str,
        *,
        path: Mapping[str, str | int],
        query: Mapping[str, Any] | None = None,
        body: object = None,
        headers: Mapping[str, str | None] | None = None,
    ) -> tuple[Any, bytes, str]:
        filled = template
        for name, value in path.items():
            filled = filled.replace(f"{{{name}}}", quote(str(value), safe=""))
        given = {name: _text(value) for name, value in (query or {}).items() if value is not None}
        sent = {name: value for name, value in (headers or {}).items() if value is not None}
        return await self._exchange(method, filled, query=given, body=body, headers=sent)


def _text(value: Any) -> Any:
    """As it stands in an address; a list is a parameter that is repeated."""
    if isinstance(value, list):
        return [_text(each) for each in value]
    return str(value).lower() if isinstance(value, bool) else value
