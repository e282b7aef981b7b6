"""A small practice served in-process, afresh for each test."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from web_world import World, make_world


@pytest.fixture
def world(tmp_path: Path) -> Iterator[World]:
    made = make_world(tmp_path)
    yield made
    made.store.close()
