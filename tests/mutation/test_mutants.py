"""The mutation test's own parts: what it changes, and that a change reaches the living code."""

import ast
import re
import tomllib
import types
from pathlib import Path

import pytest
from judge import Reached, swap_code, tracing
from mutants import Mutant, mutants_of
from mutate import equivalents, modules

ROOT = Path(__file__).parents[2]
SOURCE = '''"""Doc."""

MOST: int = 3
__all__ = ["f"]


@decorated(frozen=True)
def f(a, *, most=2):
    """Doc."""
    if a > 1 and not g(a):
        raise ValueError
    for x in a:
        if x:
            continue
        total += x
    log(a)
    a.seen = True
    return a == 1


def h():
    return "words" + f"{1}"
'''


def changes(source: str) -> list[str]:
    return [mutant.change for mutant in mutants_of(source)[1]]


@pytest.mark.parametrize(
    "change",
    [
        "3 → 4",
        "2 → 1",
        "a > 1 → a >= 1",
        "a > 1 → a <= 1",
        "a > 1 and (not g(a)) → a > 1 or not g(a)",
        "a > 1 and (not g(a)) → not (a > 1 and (not g(a)))",
        "not g(a) → g(a)",
        "raise ValueError → pass",
        "x → not x",
        "continue → break",
        "total += x → total -= x",
        "total += x → pass",
        "log(a) → pass",
        "a.seen = True → pass",
        "True → False",
        "a == 1 → a != 1",
        "return a == 1 → return None",
        "return a == 1 → return not a == 1",
    ],
)
def test_each_kind_of_slip_is_made(change: str) -> None:
    assert change in changes(SOURCE)


def test_what_changes_nothing_is_left_alone() -> None:
    found = " ".join(changes(SOURCE))
    for words in ("Doc", "frozen", "'f'", "int", "'words' - "):
        assert words not in found
    assert changes("def f() -> bool:\n    return False\n") == ["False → True"]


def test_a_mutant_is_named_by_function_line_and_change_once() -> None:
    _, found = mutants_of(SOURCE)
    assert len({mutant.name for mutant in found}) == len(found)
    (one,) = [mutant for mutant in found if mutant.change == "log(a) → pass"]
    assert one.name == "f: log(a): log(a) → pass"
    assert (one.inside, list(one.lines)) == ("f", [16])
    assert {mutant.inside for mutant in found if mutant.where == "module"} == {None}
    assert {mutant.inside for mutant in found if mutant.change == "2 → 1"} == {None}


def test_a_change_reaches_whoever_holds_the_function() -> None:
    source = "class A:\n    def f(self):\n        return 1\n\n\ndef g():\n    return A().f()\n"
    module = types.ModuleType("made_up")
    module.__file__ = "made_up.py"
    exec(compile(source, "made_up.py", "exec"), module.__dict__)
    held = module.g
    tree, found = mutants_of(source)
    mutant = next(one for one in found if one.change == "1 → 2")
    mutant.apply()
    swap_code(module, tree, str(mutant.inside))
    assert held() == 2


def test_the_quickest_tests_that_reach_the_line_come_first() -> None:
    reached = Reached({"slow": 2.0, "quick": 0.1, "other": 0.0}, {7: {"slow", "quick"}})
    mutant = Mutant("f", "x", range(6, 9), "1 → 2", lambda: None, "f")
    assert reached.tests_of(mutant) == ["quick", "slow"]


def test_lines_are_seen_while_they_run(tmp_path: Path) -> None:
    file = tmp_path / "traced.py"
    file.write_text("def f(x):\n    if x:\n        return 1\n    return 2\n")
    module: dict[str, object] = {}
    exec(compile(file.read_text(), str(file), "exec"), module)
    lines: set[int] = set()
    with tracing(str(file), lines):
        module["f"](False)  # type: ignore[operator]
    assert lines == {1, 2, 4}


# --- the data files -------------------------------------------------------------------------------


def test_every_module_and_test_file_named_is_there() -> None:
    for module in modules():
        for name in (module["file"], *module["tests"]):  # type: ignore[misc]
            assert (ROOT / str(name)).is_file(), name


@pytest.mark.parametrize("module", modules(), ids=lambda module: module["file"])
def test_every_mutant_listed_as_of_no_effect_is_there_and_few_are(module: dict) -> None:
    """A line that was changed since loses its exemption."""
    listed = equivalents(module["file"])
    _, found = mutants_of((ROOT / module["file"]).read_text(encoding="utf-8"))
    assert listed <= {mutant.name for mutant in found}, listed
    assert len(listed) <= 0.12 * len(found)


def test_each_exemption_has_a_reason() -> None:
    text = (ROOT / "tests/mutation/equivalent.toml").read_text(encoding="utf-8")
    for one in tomllib.loads(text)["equivalent"]:
        assert len(one["reason"].split()) >= 5, one
        assert one["changes"]


def test_the_page_tells_the_score_of_every_module() -> None:
    page = (ROOT / "docs/safety.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (service/[\w/.]+) \| (\d+) \| (\d+) \| ([\d.]+)% \|", page, re.M)
    assert [row[0] for row in rows] == [module["file"] for module in modules()]
    assert all(float(row[3]) >= 95 for row in rows), rows
    for _, mutants, killed, share in rows:
        assert f"{int(killed) / int(mutants):.1%}" == f"{share}%"


def test_every_module_can_be_mutated() -> None:
    for module in modules():
        tree, found = mutants_of((ROOT / str(module["file"])).read_text(encoding="utf-8"))
        assert isinstance(tree, ast.Module)
        assert found
