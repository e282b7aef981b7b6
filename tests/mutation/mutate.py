"""Mutation testing of the safety modules: does a test fail whenever their code is wrong?

    python tests/mutation/mutate.py                      # all of modules.toml, about an hour
    python tests/mutation/mutate.py --only coach/alerts  # one
    python tests/mutation/mutate.py --write              # and put the table into docs/safety.md

Each mutant is a copy of a module with one small mistake (mutants.py says which). It is killed if
a test of the module's fails on it. Prints the survivors and the share that was killed; exits 1 if
a module's share is under 95%. Mutants that change nothing anybody could notice are listed by hand
in equivalent.toml, each with its reason, and are not counted.
"""

import argparse
import os
import shutil
import sys
import tempfile
import tomllib
import warnings
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
sys.path[:0] = [str(HERE), str(ROOT)]

import hypothesis  # noqa: E402
from judge import BadStart, Verdict, fork, judge  # noqa: E402
from mutants import mutants_of  # noqa: E402
from tqdm import tqdm  # noqa: E402

LEAST_SHARE = 0.95
PAGE = ROOT / "docs/safety.md"
BEGIN, END = "<!-- mutation scores -->", "<!-- end of mutation scores -->"


@dataclass
class Score:
    file: str
    killed: int = 0
    survivors: list[str] = field(default_factory=list)
    equivalent: int = 0

    @property
    def share(self) -> float:
        return self.killed / max(self.killed + len(self.survivors), 1)

    def row(self) -> str:
        counted = self.killed + len(self.survivors)
        return f"| {self.file} | {counted} | {self.killed} | {self.share:.1%} | {self.equivalent} |"


def modules() -> list[dict[str, object]]:
    found = tomllib.loads((HERE / "modules.toml").read_text(encoding="utf-8"))
    return list(found["module"])


def equivalents(file: str) -> set[str]:
    """The names of the mutants of `file` that nobody could tell from the right module."""
    found = tomllib.loads((HERE / "equivalent.toml").read_text(encoding="utf-8"))
    return {
        f"{one['where']}: {one['line']}: {change}"
        for one in found["equivalent"]
        if one["file"] == file
        for change in one["changes"]
    }


def scored(module: dict[str, object], only_line: int) -> Score:
    file = str(module["file"])
    score, same = Score(file), equivalents(file)
    _, mutants = mutants_of((ROOT / file).read_text(encoding="utf-8"))
    with tqdm(total=len(mutants), desc=file, unit=" mutants", file=sys.stderr, leave=False) as bar:

        def note(verdict: Verdict) -> None:
            bar.update()
            if verdict.mutant.name in same:
                score.equivalent += 1
                if verdict.killed:
                    bar.write(f"listed as equivalent, but killed: {verdict.mutant.name}")
            elif verdict.killed:
                score.killed += 1
            else:
                where = f"{file}:{verdict.mutant.lines.start}"
                score.survivors.append(f"{where} {verdict.mutant.name}  [{verdict.by or 'passed'}]")

        judge(
            ROOT / file,
            [str(test) for test in module["tests"]],  # type: ignore[attr-defined]
            str(module.get("leave_out", "")),
            note,
            warm=list(module.get("warm", ())),  # type: ignore[call-overload]
            only_line=only_line,
        )
    return score


def in_a_process_of_its_own(module: dict[str, object], only_line: int) -> Score:
    """What pytest has collected for one module must not be there for the next."""
    ended, told = fork(lambda: scored(module, only_line), longest_s=0, hush=False)
    if not isinstance(told, Score):
        raise BadStart(str(told or f"The process for {module['file']} ended with {ended}"))
    return told


def preload() -> None:
    """Import what every child would otherwise import again; nothing of ours."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name in ("fastapi.testclient", "hypothesis", "numpy", "phonenumbers", "sqlmodel"):
            import_module(name)
        for name in ("rapidfuzz", "shapely", "alembic", "httpx", "jinja2"):
            import_module(name)
    settings, phases = hypothesis.settings, (hypothesis.Phase.explicit, hypothesis.Phase.generate)
    settings.register_profile(
        "mutation", deadline=None, database=None, derandomize=True, phases=phases
    )


def write(scores: list[Score]) -> None:
    """Put the rows of these modules into the table in docs/safety.md; the others stay."""
    page = PAGE.read_text(encoding="utf-8")
    table = page.partition(BEGIN)[2].partition(END)[0]
    written = [row for row in table.splitlines() if row.startswith("| service/")]
    rows = {row.split()[1]: row for row in written}
    rows |= {score.file: score.row() for score in scores}
    kept = [rows[str(module["file"])] for module in modules() if module["file"] in rows]
    head = "| module | mutants | killed | share | of no effect |\n| --- | --- | --- | --- | --- |"
    new = "\n".join([BEGIN, head, *kept, total_of(kept), END])
    PAGE.write_text(page.replace(f"{BEGIN}{table}{END}", new), encoding="utf-8")


def total_of(rows: list[str]) -> str:
    figures = [[cell.strip() for cell in row.strip("|").split("|")] for row in rows]
    counted, killed, same = (sum(int(row[place]) for row in figures) for place in (1, 2, 4))
    return f"| all | {counted} | {killed} | {killed / max(counted, 1):.1%} | {same} |"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="", help="only modules whose path holds this")
    parser.add_argument("--line", type=int, default=0, help="only mutants of this line")
    parser.add_argument("--write", action="store_true", help="put the table into docs/safety.md")
    options = parser.parse_args()
    # The same examples on every run.
    os.environ["CI"] = "true"
    os.chdir(ROOT)
    chosen = [module for module in modules() if options.only in str(module["file"])]
    preload()
    folder = Path(tempfile.mkdtemp(prefix="rungwise-mutation-"))
    # What the children leave behind goes with this folder.
    os.environ["TMPDIR"] = tempfile.tempdir = str(folder)
    scores = []
    try:
        for module in tqdm(chosen, unit=" modules", file=sys.stderr, leave=False):
            score = in_a_process_of_its_own(module, options.line)
            scores.append(score)
            tqdm.write("\n".join([*score.survivors, score.row()]), file=sys.stdout)
    except BadStart as problem:
        print(problem, file=sys.stderr)
        return 2
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    if options.write:
        write(scores)
    return 0 if all(score.share >= LEAST_SHARE for score in scores) else 1


if __name__ == "__main__":
    sys.exit(main())
