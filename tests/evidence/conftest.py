"""What the tests of evidence use of their neighbours: the small practice that is served."""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parents[1] / "web"))
