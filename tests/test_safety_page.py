"""docs/safety.md names a proof for every hazard; every proof is a test that is there."""

import re
from pathlib import Path

HERE = Path(__file__).parent
PAGE = (HERE.parent / "docs" / "safety.md").read_text(encoding="utf-8")
TESTS = {
    name
    for file in HERE.rglob("test_*.py")
    for name in re.findall(r"^def (test_\w+)", file.read_text(encoding="utf-8"), re.MULTILINE)
}


RELIABILITY = (HERE.parent / "docs" / "reliability.md").read_text(encoding="utf-8")


def test_every_way_a_page_can_fail_has_a_proof_that_is_there() -> None:
    table = RELIABILITY.partition("## Every way a page can fail")[2].partition("\n## ")[0]
    rows = [line for line in table.splitlines() if line.startswith("| ")][2:]
    assert len(rows) >= 20
    for row in rows:
        named = re.findall(r"`(test_\w+)`", row)
        assert named, row
        assert set(named) <= TESTS, set(named) - TESTS


def test_every_hazard_has_a_proof_that_is_there() -> None:
    rows = [line for line in PAGE.splitlines() if line.startswith("| ") and "`" in line]
    assert len(rows) >= 20
    for row in rows:
        named = re.findall(r"`(test_\w+)`", row)
        assert named, row
        assert set(named) <= TESTS, set(named) - TESTS
