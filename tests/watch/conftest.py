"""The small practice of the pages' tests, and the carriers' HTTP server on loopback."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.extend(str(Path(__file__).parents[1] / name) for name in ("web", "carriers"))

from web_world import World, make_world  # found by the line above


@pytest.fixture
def world(tmp_path: Path) -> Iterator[World]:
    made = make_world(tmp_path)
    yield made
    made.store.close()
