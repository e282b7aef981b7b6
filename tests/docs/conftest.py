"""The site's own modules, the browser of the pages' tests, and the site built once."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / name) for name in ("docs/site", "tests/web", "tests/deploy")]

from browsing import launch  # noqa: E402
from make_site import make, write  # noqa: E402


@pytest.fixture(scope="session")
def site_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("site")
    write(make(ROOT), folder)
    return folder


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        launched = launch(playwright)
        yield launched
        launched.close()
