"""What `mutants.py` breaks: the operators, and the places where breaking shows nothing.

Most operators are cosmic-ray's. The others are slips that reviews of this program have found: a
unit wrong by ten, a rule that never fires, a term or a condition left out, a tie-break forgotten.
"""

from __future__ import annotations

import ast
import random
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import parso
from cosmic_ray.ast import ast_nodes, get_ast, is_number
from cosmic_ray.mutating import mutate_code
from cosmic_ray.operators.operator import Example, Operator
from cosmic_ray.plugins import get_operator

# Of cosmic-ray's 190 operators, those after which the code may still run: `a << b` for a product
# of floats only raises, and would be counted as killed.
CORE = (
    *(
        f"ReplaceBinaryOperator_{pair}"
        for pair in ("Add_Sub", "Sub_Add", "Mul_Div", "Div_Mul", "FloorDiv_Div", "Pow_Mul")
    ),
    *(
        f"ReplaceComparisonOperator_{pair}"
        for pair in ("Eq_NotEq", "NotEq_Eq", "Lt_LtE", "LtE_Lt", "Gt_GtE", "GtE_Gt", "Lt_Gt")
    ),
    "ReplaceComparisonOperator_Is_IsNot",
    "ReplaceComparisonOperator_IsNot_Is",
    "ReplaceUnaryOperator_USub_UAdd",
    "ReplaceUnaryOperator_Delete_Not",
    "ReplaceTrueWithFalse",
    "ReplaceFalseWithTrue",
    "ReplaceAndWithOr",
    "ReplaceOrWithAnd",
    "ReplaceBreakWithContinue",
    "ReplaceContinueWithBreak",
    "AddNot",
    "ExceptionReplacer",
    "NumberReplacer",
    "ZeroIterationForLoop",
)  # fmt: skip

SMALLEST_CHANGE = 0.05  # chosen: no figure of the trade is known better, so no test should pin it
FLOOR = 1e-5  # chosen: below, a literal is not a figure of the trade


class _Slip(Operator):  # type: ignore[misc]
    """An operator that replaces nodes, one way each."""

    def places(self, node: Any) -> Iterable[Any]:
        """The parts of `node` that can be replaced."""
        raise NotImplementedError

    def text(self, place: Any) -> str:
        """What takes the place of it."""
        raise NotImplementedError

    def mutation_positions(self, node: Any) -> Iterator[Any]:
        for place in self.places(node):
            yield (place.start_pos, place.end_pos)

    def mutate(self, node: Any, index: int) -> Any:
        place = list(self.places(node))[index]
        new = parso.python.tree.Name(f" {self.text(place)} ", place.start_pos)
        if place is node:
            return new
        at = next(i for i, child in enumerate(node.children) if child is place)
        node.children[at] = new
        return node

    @classmethod
    def examples(cls) -> tuple[Example, ...]:
        return ()


class TimesTen(_Slip):
    """2.96 -> 29.6: a unit or a decimal point slips."""

    def places(self, node: Any) -> Iterable[Any]:
        is_quantity = is_number(node) and "." in node.value and float(node.value) != 0.0
        return [node] if is_quantity else []

    def text(self, place: Any) -> str:
        return repr(10.0 * float(place.value))


class NeverIf(_Slip):
    """if x: -> if False: a rule that never fires."""

    def places(self, node: Any) -> Iterable[Any]:
        if node.type != "if_stmt":
            return []
        return [
            test
            for word, test in zip(node.children, node.children[1:], strict=False)
            if word.type == "keyword" and word.value in ("if", "elif")
        ]

    def text(self, place: Any) -> str:  # noqa: ARG002
        return "False"


class DropCondition(_Slip):
    """a and b -> a; a or b -> a."""

    def places(self, node: Any) -> Iterable[Any]:
        return node.children[2::2] if node.type in ("and_test", "or_test") else []

    def text(self, place: Any) -> str:
        return "True" if place.parent.type == "and_test" else "False"


class DropTerm(_Slip):
    """a + b -> a: a term left out of a sum."""

    def places(self, node: Any) -> Iterable[Any]:
        if node.type != "arith_expr" or any(c.type == "string" for c in node.children[::2]):
            return ()
        return list(node.children[2::2])

    def text(self, place: Any) -> str:  # noqa: ARG002
        return "0"


class DropKey(_Slip):
    """key=lambda x: (a, b) -> (a, 0): a tie-break forgotten."""

    def places(self, node: Any) -> Iterable[Any]:
        if node.type != "testlist_comp" or "lambdef" not in _above(node):
            return []
        return node.children[::2] if any(c == "," for c in node.children[1::2]) else []

    def text(self, place: Any) -> str:  # noqa: ARG002
        return "0"


def _above(node: Any) -> list[str]:
    above: list[str] = []
    while node.parent is not None and len(above) < 2:
        node = node.parent
        above.append(node.type)
    return above


OURS = (TimesTen, NeverIf, DropCondition, DropTerm, DropKey)
OPERATORS: dict[str, Any] = {name: get_operator(f"core/{name}") for name in CORE} | {
    operator.__name__: operator for operator in OURS
}


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change of one file: the `occurrence`-th place where `operator` applies."""

    path: str
    operator: str
    occurrence: int
    line: int

    def code(self, source: str) -> str:
        """The whole file with the change in it."""
        changed = mutate_code(source, OPERATORS[self.operator](), self.occurrence)
        if changed is None:
            raise ValueError(f"{self.path}: {self.operator} has no place {self.occurrence}")
        return str(changed)


def mutants_of(path: str, source: str) -> list[Mutant]:
    """Every mutant of a file whose change a test could see."""
    blind = _blind_places(source)
    nodes = list(ast_nodes(get_ast(source)))
    found = []
    for name, operator in OPERATORS.items():
        places = (
            (node, start, end)
            for node in nodes
            for start, end in operator().mutation_positions(node)
        )
        for occurrence, (node, start, end) in enumerate(places):
            is_blind = any(a <= start and end <= b for a, b in blind)
            if not is_blind and not _is_equal(name, node):
                found.append(Mutant(path, name, occurrence, start[0]))
    return found


def drawn(mutants: list[Mutant], sample: int | None, seed: int) -> list[Mutant]:
    """A random sample, at most one mutant of a line so that no line weighs more than another."""
    shuffled = random.Random(seed).sample(mutants, len(mutants))
    if sample is None:
        return shuffled
    lines = {(m.path, m.line): m for m in reversed(shuffled)}
    return random.Random(seed).sample(list(lines.values()), min(sample, len(lines)))


def _is_equal(name: str, node: Any) -> bool:
    """Whether the change is of no figure or operation, or too small to matter."""
    if node.parent is not None and node.parent.type in ("parameters", "param"):
        return name.startswith("ReplaceBinaryOperator")  # the bare * of keyword-only parameters
    if name not in ("NumberReplacer", "TimesTen"):
        return False
    value = ast.literal_eval(node.value)
    if not isinstance(value, int | float) or 0.0 < abs(value) < FLOOR:
        return True
    return name == "NumberReplacer" and abs(value) * SMALLEST_CHANGE > 1.0


def _blind_places(source: str) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    """Spans (line, column) without behaviour: annotations, ``__all__``, logs, decorators."""
    hidden: list[ast.expr | ast.stmt] = []
    for node in ast.walk(ast.parse(source)):
        match node:
            case ast.arg(annotation=ast.expr() as annotation):
                hidden.append(annotation)
            case ast.AnnAssign():
                hidden.append(node.annotation)
            case ast.FunctionDef() | ast.AsyncFunctionDef():
                hidden += [*node.decorator_list, *([node.returns] if node.returns else [])]
            case ast.ClassDef():
                hidden += node.decorator_list
            case ast.Assign(targets=[ast.Name(id="__all__")]):
                hidden.append(node)
            case ast.If(test=ast.Name(id="TYPE_CHECKING")):
                hidden.append(node)
            case ast.Call(func=ast.Attribute(value=ast.Name(id="log" | "_log" | "logger" | "LOG"))):
                hidden.append(node)
            case ast.Call(func=ast.Name(id="TypeVar" | "NewType" | "cast")):
                hidden.append(node.args[0])
    return [
        ((n.lineno, n.col_offset), (n.end_lineno or n.lineno, n.end_col_offset or 0))
        for n in hidden
    ]


def source_files(root: Path, package: str) -> list[Path]:
    """The files of a package, or the one file it is."""
    place = root / "src" / "walkboard" / package
    return [place] if place.suffix == ".py" else sorted(place.rglob("*.py"))
