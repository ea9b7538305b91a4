"""One server for most tests, and a browser as the tests of the report have it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from live.pages import Page, copied, served
from report.conftest import axe, chromium, driver

__all__ = ["axe", "chromium", "driver", "page"]


@pytest.fixture(scope="session")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    with served(copied(tmp_path_factory.mktemp("live"))) as found:
        yield found
