"""Pages of lists that are wholly in memory; the place is the key of the last item shown."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

from pydantic import Field

from gateway.api.cursors import read_text, write_cursor
from gateway.api.models.base import Query

__all__ = ["PageQuery", "ShortListQuery", "page_after"]

Item = TypeVar("Item")


class PageQuery(Query):
    """Which page, and how long it may be."""

    cursor: str | None = Field(default=None, max_length=200)
    limit: int = Field(default=100, ge=1, le=500)


class ShortListQuery(PageQuery):
    """Which page of a list that is hardly ever longer than one."""

    limit: int = Field(default=500, ge=1, le=500)


def page_after(
    kind: str, items: Sequence[Item], query: PageQuery, key: Callable[[Item], str]
) -> tuple[Sequence[Item], str | None]:
    """The page and the next page's cursor. When the item that a cursor names is gone the list begins anew."""
    begin = 0
    if query.cursor:
        last = read_text(kind, query.cursor)
        begin = next((place + 1 for place, item in enumerate(items) if key(item) == last), 0)
    page = items[begin : begin + query.limit]
    more = begin + len(page) < len(items)
    return page, write_cursor(kind, key(page[-1])) if more else None
