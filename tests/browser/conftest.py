"""One browser and one yard for all of the page's tests: both take seconds to start."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator

import pytest
import pytest_asyncio
from playwright.async_api import Browser

from tests.browser.driving import open_browser, require_chromium
from tests.browser.quay import Quay, open_quay


@pytest.fixture(scope="session")
def quay() -> Iterator[Quay]:
    """A running yard."""
    require_chromium()
    with open_quay() as found:
        yield found


@pytest_asyncio.fixture(scope="session", loop_scope="session")
async def browser() -> AsyncIterator[Browser]:
    """Debian's Chromium."""
    async with open_browser() as found:
        yield found
