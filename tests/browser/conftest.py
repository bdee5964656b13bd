"""One browser and one yard for all of the page's tests: both take seconds to start."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator

import pytest
import pytest_asyncio
from playwright.async_api import Browser

from tests.browser.driving import open_browser, require_chromium
from tests.browser.own_quay import open_own_quay
from tests.browser.quay import Quay, open_quay


@pytest.fixture(scope="session")
def quay() -> Iterator[Quay]:
    """A running yard."""
    require_chromium()
    with open_quay() as found:
        yield found


@pytest.fixture(scope="session")
def works() -> Iterator[Quay]:
    """Another one, for tests that write to its receivers; each leaves it as the roster says."""
    require_chromium()
    with open_quay() as found:
        yield found


@pytest.fixture(scope="session")
def own() -> Iterator[Quay]:
    """A third, whose gateway keeps the roster itself; each test has people and receivers of its own there."""
    require_chromium()
    with open_own_quay() as found:
        yield found


@pytest_asyncio.fixture(scope="session", loop_scope="session")
async def browser() -> AsyncIterator[Browser]:
    """Debian's Chromium."""
    async with open_browser() as found:
        yield found
