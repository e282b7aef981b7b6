"""Small wrong changes to a module, each of the kind that a slip of the hand makes.

Comparisons turned or moved by one, and/or swapped, conditions and answers negated, whole numbers
one off, signs swapped, truth values flipped, answers lost, statements left out. Annotations,
decorators, docstrings and `__all__` are left alone: they change nothing that happens.
"""

import ast
from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import dataclass, field

TURNED: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
SWAPPED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.FloorDiv,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Add,
    ast.BitOr: ast.BitAnd,
    ast.BitAnd: ast.BitOr,
    ast.Pow: ast.Mult,
}
# Never mutated: what they hold changes nothing that happens, or is read by tools alone.
SKIPPED_FIELDS = {"annotation", "returns", "decorator_list", "type_params", "bases"}
Functions = ast.FunctionDef | ast.AsyncFunctionDef


@dataclass(frozen=True, slots=True)
class Mutant:
    """One wrong change. `apply` makes it in the tree it was found in, for good.

    `where` is the function's full name, or "module"; `line` the source line, stripped; `lines`
    the span of the statement; `change` says "old → new"; `inside` is the outermost function that
    holds it, None when the module must be imported anew.
    """

    where: str
    line: str
    lines: range
    change: str
    apply: Callable[[], None] = field(repr=False, compare=False)
    inside: str | None = None

    @property
    def name(self) -> str:
        return f"{self.where}: {self.line}: {self.change}"


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a node stands: in `parent.name`, at `index` when that is a list."""

    parent: ast.AST
    name: str
    index: int | None

    def put(self, new: ast.AST) -> None:
        if self.index is None:
            setattr(self.parent, self.name, new)
        else:
            getattr(self.parent, self.name)[self.index] = new


@dataclass(frozen=True, slots=True)
class _Around:
    where: str = "module"
    inside: str | None = None
    lines: range = range(0)


def mutants_of(source: str) -> tuple[ast.Module, list[Mutant]]:
    """The module's tree, and every mutant of it in the order of the source."""
    tree = ast.parse(source)
    written = source.splitlines()
    found: list[Mutant] = []
    seen: dict[tuple[str, str, str], int] = {}
    for place, node, around in _walk(tree, _Around()):
        for new in _wrong(place, node):
            line = written[node.lineno - 1].strip()
            change = f"{_short(node)} → {_short(new)}"
            key = (around.where, line, change)
            seen[key] = seen.get(key, 0) + 1
            if seen[key] > 1:
                change += f" ({seen[key]})"
            put = _putter(place, new, node)
            found.append(Mutant(around.where, line, around.lines, change, put, around.inside))
    return tree, found


def _putter(place: _Place, new: ast.AST, node: ast.AST) -> Callable[[], None]:
    def put() -> None:
        place.put(ast.fix_missing_locations(ast.copy_location(new, node)))

    return put


def _short(node: ast.AST) -> str:
    text = " ".join(ast.unparse(node).split())
    return text if len(text) <= 90 else f"{text[:60]} … {text[-24:]}"


def _walk(node: ast.AST, around: _Around) -> Iterator[tuple[_Place, ast.AST, _Around]]:
    for name, value in ast.iter_fields(node):
        if name in SKIPPED_FIELDS or _tool_only(node, name):
            continue
        inner = around
        if isinstance(node, ast.arguments) and name in ("defaults", "kw_defaults"):
            # Defaults are worked out when the function is made.
            inner = _Around(around.where, None, around.lines)
        many = value if isinstance(value, list) else [value]
        for index, child in enumerate(many):
            if not isinstance(child, ast.AST) or _is_doc(node, name, index, child):
                continue
            below = _entered(child, inner)
            yield _Place(node, name, index if isinstance(value, list) else None), child, below
            yield from _walk(child, below)


def _entered(child: ast.AST, around: _Around) -> _Around:
    if isinstance(child, Functions | ast.ClassDef):
        where = child.name if around.where == "module" else f"{around.where}.{child.name}"
        inside = around.inside
        if inside is None and isinstance(child, Functions):
            inside = where
        return _Around(where, inside, range(child.lineno, child.lineno + 1))
    if isinstance(child, ast.stmt):
        body = getattr(child, "body", None)
        last = body[0].lineno - 1 if body else child.end_lineno
        return _Around(around.where, around.inside, range(child.lineno, (last or child.lineno) + 1))
    return around


def _tool_only(node: ast.AST, name: str) -> bool:
    if isinstance(node, ast.Assign) and name == "value":
        return any(isinstance(to, ast.Name) and to.id == "__all__" for to in node.targets)
    return isinstance(node, ast.Subscript) and name == "slice" and _is_type(node)


def _is_type(node: ast.Subscript) -> bool:
    value = node.value
    return isinstance(value, ast.Name) and value.id in ("Literal", "frozenset", "tuple", "dict")


def _is_doc(parent: ast.AST, name: str, index: int, child: ast.AST) -> bool:
    return (
        name == "body"
        and index == 0
        and isinstance(parent, Functions | ast.ClassDef | ast.Module)
        and isinstance(child, ast.Expr)
        and isinstance(child.value, ast.Constant)
    )


# --- the operators --------------------------------------------------------------------------------


def _wrong(place: _Place, node: ast.AST) -> Iterator[ast.AST]:
    if isinstance(node, ast.Compare):
        yield from _turned(node)
    elif isinstance(node, ast.BoolOp):
        new = deepcopy(node)
        new.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        yield new
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
        yield deepcopy(node.operand)
    elif isinstance(node, ast.BinOp) and type(node.op) in SWAPPED and not _joins_text(node):
        new = deepcopy(node)
        new.op = SWAPPED[type(node.op)]()
        yield new
    elif isinstance(node, ast.Constant):
        yield from _off(node)
    elif isinstance(node, ast.stmt):
        yield from _statements(node)
    if _is_condition(place) and not isinstance(node, ast.Compare | ast.UnaryOp | ast.Constant):
        yield ast.UnaryOp(ast.Not(), deepcopy(node))


def _is_condition(place: _Place) -> bool:
    if place.name == "test":
        return True
    return place.name == "ifs" and isinstance(place.parent, ast.comprehension)


def _turned(node: ast.Compare) -> Iterator[ast.AST]:
    for place, operator in enumerate(node.ops):
        for other in TURNED[type(operator)]:
            new = deepcopy(node)
            new.ops[place] = other()
            yield new


def _joins_text(node: ast.BinOp) -> bool:
    return any(
        isinstance(part, ast.JoinedStr)
        or (isinstance(part, ast.Constant) and isinstance(part.value, str))
        for part in (node.left, node.right)
    )


def _off(node: ast.Constant) -> Iterator[ast.AST]:
    value = node.value
    if isinstance(value, bool):
        yield ast.Constant(not value)
    elif isinstance(value, int | float):
        yield ast.Constant(value + 1)
        yield ast.Constant(value - 1)


def _statements(node: ast.stmt) -> Iterator[ast.AST]:
    if isinstance(node, ast.Return) and node.value is not None:
        # Nothing can be told of None for False, or is said by the flipped truth value.
        if not (isinstance(node.value, ast.Constant) and node.value.value in (None, True, False)):
            yield ast.Return(ast.Constant(None))
        if isinstance(node.value, ast.Compare | ast.BoolOp | ast.Call | ast.UnaryOp):
            yield ast.Return(ast.UnaryOp(ast.Not(), deepcopy(node.value)))
    elif isinstance(node, ast.AugAssign):
        if type(node.op) in SWAPPED and not isinstance(node.value, ast.JoinedStr):
            new = deepcopy(node)
            new.op = SWAPPED[type(node.op)]()
            yield new
        yield ast.Pass()
    elif isinstance(node, ast.Break):
        yield ast.Continue()
    elif isinstance(node, ast.Continue):
        yield ast.Break()
    elif _may_go(node):
        yield ast.Pass()


def _may_go(node: ast.stmt) -> bool:
    """Whether a statement may be left out without a name missing later."""
    if isinstance(node, ast.Assign):
        return not all(isinstance(to, ast.Name) for to in node.targets)
    bare_return = isinstance(node, ast.Return) and node.value is None
    return bare_return or isinstance(node, ast.Expr | ast.Raise)
