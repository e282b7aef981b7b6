"""Finds the helpers of the carriers' tests, which these tests use too."""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parents[1] / "carriers"))
