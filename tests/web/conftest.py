"""A small practice served in-process, afresh for each test."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from browsing import launch
from playwright.sync_api import Browser, sync_playwright
from web_world import World, make_world


@pytest.fixture
def world(tmp_path: Path) -> Iterator[World]:
    made = make_world(tmp_path)
    yield made
    made.store.close()


@pytest.fixture(scope="module")
def calm(tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    """A practice that no test changes: making one for each takes longer than most of them."""
    made = make_world(tmp_path_factory.mktemp("calm"))
    yield made
    made.store.close()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One Chromium for all tests of a file."""
    with sync_playwright() as playwright:
        launched = launch(playwright)
        yield launched
        launched.close()
