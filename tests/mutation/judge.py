"""Runs the tests of one module against each mutant of it: collect once, fork for each.

The forked child changes the function in place (every importer holds the same function) and runs
the tests that reach the changed line, quickest first, until one fails. What stands outside
functions is worked out when the module is imported, so those mutants get a child that has not
imported it yet.
"""

import ast
import importlib.util
import os
import signal
import sys
import threading
import time
import types
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from multiprocessing import Pipe
from pathlib import Path
from typing import Any

import pytest
from mutants import Mutant, mutants_of

ROOT = Path(__file__).parents[2]
RAISED = 10  # a child's exit code
# A mutant that never ends is killed as well: by the processor time of one test, for a busy machine
# makes everything else slow, and at last by the clock.
LONGEST_TEST_CPU_S = 15.0
LONGEST_S = 900
PYTEST = ["-n", "0", "-p", "no:cacheprovider", "--tb=no", "-q", "--hypothesis-profile=mutation"]
# Imported before pytest looks, so that no child need do it again.
PYTEST += ["-W", "ignore::pytest.PytestAssertRewriteWarning"]


@dataclass
class Reached:
    """What the tests did on the right module: seconds by test, and tests by line."""

    seconds: dict[str, float] = field(default_factory=dict)
    by_line: dict[int, set[str]] = field(default_factory=dict)

    def tests_of(self, mutant: Mutant) -> list[str]:
        names: set[str] = set()
        for line in mutant.lines:
            names |= self.by_line.get(line, set())
        return sorted(names, key=lambda name: self.seconds[name])


@dataclass
class Verdict:
    mutant: Mutant
    killed: bool
    by: str


class BadStart(Exception):
    """The tests do not pass on the module as it is, or there are none."""


class Session:
    """A pytest plugin: takes over the run once the tests are collected."""

    def __init__(self, work: Callable[[list[pytest.Item], pytest.Session], None]) -> None:
        self.work = work

    @pytest.hookimpl(trylast=True)
    def pytest_configure(self, config: pytest.Config) -> None:
        config.pluginmanager.unregister(name="terminalreporter")

    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        self.work(session.items, session)
        return True


def judge(
    file: Path,
    tests: list[str],
    leave_out: str,
    each: Callable[[Verdict], None],
    *,
    warm: list[str],
    only_line: int = 0,
) -> None:
    """Call `each` with every verdict on the mutants of `file`. Raises BadStart.

    `warm` are calls, "module:function:argument", whose kept answers every child may use.
    """
    tree, mutants = mutants_of(file.read_text(encoding="utf-8"))
    if only_line:
        mutants = [mutant for mutant in mutants if only_line in mutant.lines]
    arguments = [*PYTEST, "-k", leave_out, *tests] if leave_out else [*PYTEST, *tests]
    # Before anything of ours is imported in this process.
    for mutant in [one for one in mutants if one.inside is None]:
        each(_judge_anew(file, tree, mutant, arguments))
    inside = [one for one in mutants if one.inside]
    if inside:
        _judge_in_place(file, tree, inside, arguments, warm, each)


# --- mutants inside functions ---------------------------------------------------------------------


def _judge_in_place(
    file: Path,
    tree: ast.Module,
    mutants: list[Mutant],
    arguments: list[str],
    warm: list[str],
    each: Callable[[Verdict], None],
) -> None:
    def work(items: list[pytest.Item], session: pytest.Session) -> None:
        for call in warm:
            module, function, argument = call.split(":")
            getattr(importlib.import_module(module), function)(argument)
        by_name = {item.nodeid: item for item in items}
        reached = _reached(file, items, session)
        killers: dict[str, list[str]] = {}
        for mutant in mutants:
            names = reached.tests_of(mutant)
            first = [name for name in killers.get(mutant.where, []) if name in names]
            names = list(dict.fromkeys(first + names))
            if not names:
                each(Verdict(mutant, False, "no test reaches it"))
                continue
            items_of = [by_name[name] for name in names]
            verdict = _in_child(mutant, _tried(file, tree, mutant, items_of, reached, session))
            if verdict.killed and verdict.by in by_name:
                killers[mutant.where] = [verdict.by, *killers.get(mutant.where, [])][:5]
            each(verdict)

    code = pytest.main(arguments, plugins=[Session(work)])
    if code not in (0, pytest.ExitCode.NO_TESTS_COLLECTED):
        raise BadStart(f"pytest ended with {code!r} while judging {file.name}")


def _tried(
    file: Path,
    tree: ast.Module,
    mutant: Mutant,
    items: list[pytest.Item],
    reached: Reached,
    session: pytest.Session,
) -> Callable[[], str]:
    def work() -> str:
        mutant.apply()
        swap_code(_module_of(file), tree, str(mutant.inside))
        return first_failing(items, session, reached.seconds)

    return work


def first_failing(
    items: list[pytest.Item], session: pytest.Session, usual_s: dict[str, float]
) -> str:
    """Run the tests in turn; the name of the first that fails, or nothing.

    One that takes ten times its usual processor time ends the process.
    """
    for item, following in zip(items, [*items[1:], None], strict=True):
        longest = 1 + 10 * usual_s[item.nodeid] if usual_s else LONGEST_TEST_CPU_S
        signal.setitimer(signal.ITIMER_PROF, min(longest, LONGEST_TEST_CPU_S))
        if not passes(item, following, session):
            return item.nodeid
    return ""


def passes(item: pytest.Item, following: pytest.Item | None, session: pytest.Session) -> bool:
    before = session.testsfailed
    item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
    return session.testsfailed == before


def _module_of(file: Path) -> types.ModuleType:
    return importlib.import_module(_name_of(file))


def _name_of(file: Path) -> str:
    return ".".join(file.relative_to(ROOT).with_suffix("").parts)


def swap_code(module: types.ModuleType, tree: ast.Module, qualname: str) -> None:
    """Give the living function its code from the changed tree, wherever it is referred to."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        changed = compile(tree, str(module.__file__), "exec")
    new = next(code for code in _codes(changed) if code.co_qualname == qualname)
    for function in _functions(module):
        if function.__qualname__ == qualname:
            function.__code__ = new
    for value in vars(module).values():
        if hasattr(value, "cache_clear"):
            value.cache_clear()


def _codes(code: types.CodeType) -> Iterator[types.CodeType]:
    for constant in code.co_consts:
        if isinstance(constant, types.CodeType):
            yield constant
            yield from _codes(constant)


def _functions(module: types.ModuleType) -> Iterator[types.FunctionType]:
    waiting: list[Any] = list(vars(module).values())
    seen: set[int] = set()
    while waiting:
        value = waiting.pop()
        if id(value) in seen:
            continue
        seen.add(id(value))
        if isinstance(value, types.FunctionType):
            if value.__module__ == module.__name__:
                yield value
        elif isinstance(value, type) and value.__module__ == module.__name__:
            waiting += vars(value).values()
        if isinstance(value, property):
            waiting += [value.fget, value.fset]
        waiting += [getattr(value, name, None) for name in ("__wrapped__", "__func__")]


# --- mutants outside functions --------------------------------------------------------------------


def _judge_anew(file: Path, tree: ast.Module, mutant: Mutant, arguments: list[str]) -> Verdict:
    def work() -> str:
        mutant.apply()
        sys.meta_path.insert(0, _Changed(_name_of(file), file, tree))
        told: list[str] = []

        def run(items: list[pytest.Item], session: pytest.Session) -> None:
            told.append(first_failing(items, session, {}))

        pytest.main(arguments, plugins=[Session(run)])
        return told[0] if told else "the module cannot be imported"

    return _in_child(mutant, work)


class _Changed:
    """Finds the one module, and loads it from the changed tree."""

    def __init__(self, name: str, file: Path, tree: ast.Module) -> None:
        self.name, self.file, self.tree = name, file, tree

    def find_spec(self, name: str, _path: object = None, _target: object = None) -> Any:
        if name != self.name:
            return None
        return importlib.util.spec_from_loader(name, self, origin=str(self.file))

    def create_module(self, _spec: object) -> None:
        return None

    def exec_module(self, module: types.ModuleType) -> None:
        module.__file__ = str(self.file)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            code = compile(self.tree, str(self.file), "exec")
        exec(code, module.__dict__)  # our own source, with one change


# --- children -------------------------------------------------------------------------------------


def _in_child(mutant: Mutant, work: Callable[[], str]) -> Verdict:
    """Do `work` in a forked child; it gives the name of the test that failed, or nothing."""
    ended, told = fork(work, LONGEST_S)
    if told == "":
        return Verdict(mutant, False, "")
    return Verdict(mutant, True, str(told) if told else f"ended with {ended}")


def fork(work: Callable[[], object], longest_s: int, *, hush: bool = True) -> tuple[int, object]:
    """How the child ended, 0 if well, and what `work` gave there, None if it did not come to that.

    The child has `longest_s` seconds; 0 is no limit. Of what it raised, it gives the words.
    """
    ours, theirs = Pipe(duplex=False)
    child = os.fork()
    if child == 0:
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        signal.signal(signal.SIGPROF, signal.SIG_DFL)
        signal.alarm(longest_s)
        code = RAISED
        try:
            if hush:
                _hush()
            theirs.send(work())
            code = 0
        except BaseException as problem:
            theirs.send(f"{type(problem).__name__}: {problem}")
        finally:
            os._exit(code)
    theirs.close()
    try:
        told: object = ours.recv()
    except EOFError:
        told = None
    ours.close()
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status), told


def _hush() -> None:
    nothing = os.open(os.devnull, os.O_RDWR)
    os.dup2(nothing, 1)
    os.dup2(nothing, 2)


# --- which test reaches which line ----------------------------------------------------------------


def _reached(file: Path, items: list[pytest.Item], session: pytest.Session) -> Reached:
    """Run every test once, in a child, on the module as it is. Raises BadStart."""

    def work() -> Reached:
        found = Reached()
        for item, following in zip(items, [*items[1:], None], strict=True):
            lines: set[int] = set()
            began = time.process_time()
            with tracing(str(file), lines):
                good = passes(item, following, session)
            if not good:
                raise BadStart(item.nodeid)
            found.seconds[item.nodeid] = time.process_time() - began
            for line in lines:
                found.by_line.setdefault(line, set()).add(item.nodeid)
        return found

    ended, found = fork(work, longest_s=0)
    if not isinstance(found, Reached):
        raise BadStart(f"On {file.name} as it is: {found or f'ended with {ended}'}")
    if not found.seconds:
        raise BadStart(f"On {file.name} as it is: no test was collected")
    return found


@contextmanager
def tracing(file: str, lines: set[int]) -> Iterator[None]:
    def line(frame: types.FrameType, event: str, _argument: object) -> Any:
        if event == "line":
            lines.add(frame.f_lineno)
        return line

    def call(frame: types.FrameType, _event: str, _argument: object) -> Any:
        if frame.f_code.co_filename != file:
            return None
        lines.add(frame.f_lineno)
        return line

    threading.settrace(call)
    sys.settrace(call)
    try:
        yield
    finally:
        sys.settrace(None)
        threading.settrace(None)  # type: ignore[arg-type]
