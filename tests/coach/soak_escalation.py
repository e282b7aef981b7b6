"""Kills the process at every step of an escalation, on both databases; exits 1 if nobody is paged.

    python tests/coach/soak_escalation.py

The test run does this for two of the steps (test_escalation.py).
"""

import os
import sys
from pathlib import Path

import pytest


def main() -> int:
    os.environ["RUNGWISE_EVERY_KILL"] = "1"
    here = Path(__file__).parent
    return int(pytest.main(["-n", "0", "-v", str(here / "test_escalation.py")]))


if __name__ == "__main__":
    sys.exit(main())
