"""Where a module may be made wrong, and how: small faults that tests should notice.

Most are Cosmic Ray's operators (extra `trust`), so that somebody else chose them; two are ours: a statement left out, and
a function exchanged for its opposite (least for greatest, floor for ceiling), which is how the safe side is lost.
"""

from __future__ import annotations

import ast
import random
from dataclasses import dataclass
from pathlib import Path

# Of an operator's replacements those that stay arithmetic; a shift of floats fails at once and proves nothing.
_OPPOSITES = {
    "min": "max",
    "max": "min",
    "minimum": "maximum",
    "maximum": "minimum",
    "floor": "ceil",
    "ceil": "floor",
    "any": "all",
    "all": "any",
    "argmin": "argmax",
    "argmax": "argmin",
    "union_all": "intersection_all",
    "intersection": "difference",
    "difference": "intersection",
    "left": "right",
    "add": "subtract",
    "subtract": "add",
}
_BINARY = (
    *(
        "Add_Sub",
        "Sub_Add",
        "Mul_Div",
        "Div_Mul",
        "FloorDiv_Div",
        "FloorDiv_Mul",
        "Mod_Mul",
        "Mod_FloorDiv",
        "Pow_Mul",
    ),
    *("BitOr_BitAnd", "BitAnd_BitOr", "BitXor_BitAnd", "LShift_RShift", "RShift_LShift"),
)
_COMPARISONS = (
    *(
        "Eq_NotEq",
        "NotEq_Eq",
        "Lt_LtE",
        "Lt_Gt",
        "Lt_GtE",
        "LtE_Lt",
        "LtE_GtE",
        "Gt_GtE",
        "Gt_Lt",
        "Gt_LtE",
        "GtE_Gt",
    ),
    *("GtE_Lt", "Is_IsNot", "IsNot_Is"),
)
_OTHERS = (
    *(
        "ReplaceUnaryOperator_USub_UAdd",
        "ReplaceUnaryOperator_Delete_USub",
        "ReplaceUnaryOperator_Delete_Invert",
    ),
    *(
        "ReplaceUnaryOperator_Delete_Not",
        "AddNot",
        "ReplaceTrueWithFalse",
        "ReplaceFalseWithTrue",
        "ReplaceAndWithOr",
    ),
    *("ReplaceOrWithAnd", "ReplaceBreakWithContinue", "ReplaceContinueWithBreak", "ExceptionReplacer"),
    *("NumberReplacer", "RemoveDecorator", "ZeroIterationForLoop"),
)
OPERATORS = (
    *(f"ReplaceBinaryOperator_{word}" for word in _BINARY),
    *(f"ReplaceComparisonOperator_{word}" for word in _COMPARISONS),
    *_OTHERS,
)


@dataclass(frozen=True)
class Mutant:
    """A module with one fault: where (first and last line), by which operator, the changed lines, the whole text."""

    module: str
    line: int
    operator: str
    was: str
    now: str
    source: str

    @property
    def key(self) -> tuple[str, str, str]:
        return self.module, self.was, self.now


def _spoken(tree: ast.AST) -> str:
    """Dump what a module does, without annotations and docstrings."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            node.returns = None
        if isinstance(node, ast.arg):
            node.annotation = None
        if isinstance(node, ast.arguments):  # which arguments need their name is no fault of the work done
            node.args = [*node.posonlyargs, *node.args, *node.kwonlyargs]
            node.defaults = [*node.defaults, *(d for d in node.kw_defaults if d is not None)]
            node.posonlyargs, node.kwonlyargs, node.kw_defaults = [], [], []
        if isinstance(node, ast.AnnAssign):
            node.annotation = ast.Constant(0)
        body = getattr(node, "body", None)
        if isinstance(body, list):
            node.body = [
                s for s in body if not (isinstance(s, ast.Expr) and isinstance(s.value, ast.Constant))
            ]
            # What only a type checker imports is never run.
            node.body = [
                s for s in node.body if not (isinstance(s, ast.If) and "TYPE_CHECKING" in ast.unparse(s.test))
            ]
    return ast.dump(tree)


def _changed(before: str, after: str) -> tuple[int, str, str]:
    """First changed line (from 1), and the changed lines of both texts, each as one line."""
    one, two = before.splitlines(), after.splitlines()
    first = next(
        (k for k, (a, b) in enumerate(zip(one, two, strict=False)) if a != b), min(len(one), len(two))
    )
    last = 0
    while last < min(len(one), len(two)) - first and one[-1 - last] == two[-1 - last]:
        last += 1
    join = lambda lines: " ".join(line.strip() for line in lines[first : len(lines) - last])  # noqa: E731
    return first + 1, join(one), join(two)


def _spliced(source: str, node: ast.AST, text: str) -> str:
    lines = source.encode().splitlines(keepends=True)
    start = sum(map(len, lines[: node.lineno - 1])) + node.col_offset
    end = sum(map(len, lines[: node.end_lineno - 1])) + node.end_col_offset
    whole = source.encode()
    return (whole[:start] + text.encode() + whole[end:]).decode()


def _our_own(source: str) -> dict[tuple, list[tuple[str, str]]]:
    """Statements left out and opposites, by place; each as operator and mutated text."""
    found: dict[tuple, list[tuple[str, str]]] = {}

    def add(node, operator, text):
        place = (operator, node.lineno, node.col_offset, node.end_lineno, node.end_col_offset)
        found.setdefault(place, []).append((operator, _spliced(source, node, text)))

    for node in ast.walk(ast.parse(source)):
        call = isinstance(node, ast.Expr) and isinstance(node.value, ast.Call | ast.Yield | ast.YieldFrom)
        entry = isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Subscript)
        if call or entry or isinstance(node, ast.Raise | ast.AugAssign | ast.Delete):
            add(node, "LeaveOut", "pass")
        elif isinstance(node, ast.Name) and node.id in _OPPOSITES and isinstance(node.ctx, ast.Load):
            add(node, "Opposite", _OPPOSITES[node.id])
        elif isinstance(node, ast.Attribute) and node.attr in _OPPOSITES:
            add(node, "Opposite", f"{ast.unparse(node.value)}.{_OPPOSITES[node.attr]}")
    return found


def _cosmic_rays(source: str) -> dict[tuple, list[tuple[str, int]]]:
    """Cosmic Ray's mutations by place, each as operator and occurrence."""
    from cosmic_ray.ast import Visitor, get_ast
    from cosmic_ray.plugins import get_operator

    tree = get_ast(source)
    found: dict[tuple, list[tuple[str, int]]] = {}

    class Places(Visitor):
        def __init__(self, name):
            self.name, self.operator, self.count = name, get_operator(f"core/{name}")(), 0

        def visit(self, node):
            for start, end in self.operator.mutation_positions(node):
                family = self.name.split("_")[0]
                found.setdefault((family, *start, *end), []).append((self.name, self.count))
                self.count += 1
            return node

    for name in OPERATORS:
        Places(name).walk(tree)
    return found


def mutants(module: str, path: Path, seed: int, most: int | None) -> tuple[list[Mutant], int]:
    """Draw mutants of a module.

    Parameters
    ----------
    module, path
        Its name, and its file.
    seed, most
        A place is drawn at random without repeats, then one of the mutations at that place; None: every mutation.

    Returns
    -------
    list of Mutant, and the number of places; those in annotations among them, which are never drawn.
    """
    from cosmic_ray.mutating import mutate_code
    from cosmic_ray.plugins import get_operator

    source = path.read_text(encoding="utf-8")
    same = _spoken(ast.parse(source))
    places: dict[tuple, list] = {**_cosmic_rays(source), **_our_own(source)}
    chance = random.Random(f"{seed} {module}")
    order = sorted(places)
    chance.shuffle(order)
    drawn: list[Mutant] = []
    for place in order:
        if most is not None and len(drawn) >= most:
            break
        choices = list(places[place])
        chance.shuffle(choices)
        for operator, what in choices:
            text = (
                what
                if isinstance(what, str)
                else mutate_code(source, get_operator(f"core/{operator}")(), what)
            )
            try:
                if text is None or _spoken(ast.parse(text)) == same:
                    continue  # an annotation, or nothing changed
            except SyntaxError:
                continue
            line, was, now = _changed(source, text)
            drawn.append(Mutant(module, line, operator, was, now, text))
            if most is not None:
                break
    return drawn, len(order)


def span_of(source: str, line: int) -> range | None:
    """Lines of the innermost statement that holds a line, of a compound one its head; None outside functions."""
    best: tuple[int, range] | None = None
    inside = False

    def walk(node, within):
        nonlocal best, inside
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.stmt):
                body = getattr(child, "body", None)
                first = min([child.lineno, *(d.lineno for d in getattr(child, "decorator_list", []))])
                if first <= line <= child.end_lineno:
                    head = body[0].lineno - 1 if isinstance(body, list) and body else child.end_lineno
                    if isinstance(child, ast.FunctionDef) and line <= head:
                        best, inside = (0, range(body[0].lineno, child.end_lineno + 1)), True
                    elif line <= head or not isinstance(body, list):
                        best, inside = (0, range(first, max(head, first) + 1)), within
                    else:
                        best, inside = (0, range(line, line + 1)), within
                    walk(child, within or isinstance(child, ast.FunctionDef))
            else:
                walk(child, within)

    walk(ast.parse(source), False)
    return best[1] if best and inside else None
