"""A formula in one line: read, filled in with its numbers, and worked out."""

from __future__ import annotations

import ast
import math
import operator
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any


@dataclass(frozen=True)
class Input:
    """One number that goes into a formula.

    ``key`` is its own key where it is published too; else ``source`` says where it comes from.
    """

    name: str
    value: float
    unit: str = ""
    key: str = ""
    source: str = ""


@dataclass(frozen=True)
class Formula:
    """An expression over named inputs, in plain arithmetic and a few spreadsheet functions.

    ``sense`` is one sentence on what the formula does, "" where it speaks for itself.
    """

    expression: str
    inputs: tuple[Input, ...]
    sense: str = ""

    @cached_property
    def _tree(self) -> ast.expr:
        return ast.parse(self.expression, mode="eval").body

    @property
    def is_given(self) -> bool:
        """Whether there is a formula; without one the inputs are those of a fit."""
        return bool(self.expression)

    @property
    def is_plain(self) -> bool:
        """Whether the formula only takes one input over."""
        return isinstance(self._tree, ast.Name)

    def named(self) -> str:
        """The formula with the names of its inputs."""
        return _written(self._tree, {one.name: one.name.replace("_", " ") for one in self.inputs})

    def filled(self) -> str:
        """The formula with its numbers; ``worked_out`` reads it back."""
        return _written(self._tree, {one.name: exact(one.value) for one in self.inputs})

    def result(self) -> float:
        """What it comes to; ``nan`` where it is not defined."""
        return _value(self._tree, {one.name: one.value for one in self.inputs})


def exact(value: float) -> str:
    """A number with all its digits, without an exponent where it can be helped."""
    if math.isinf(value) or math.isnan(value):
        return {math.inf: "infinity", -math.inf: "-infinity"}.get(value, "not defined")
    if float(value).is_integer() and abs(value) < 1e15:
        return str(int(value))
    return repr(float(value))


def worked_out(filled: str) -> float:
    """The value of a filled-in formula as it is printed: what a reader with a calculator would get."""
    text = filled.replace("×", "*").replace("^", "**").replace("infinity", "INFINITY")
    for name in FUNCTIONS:
        text = text.replace(name.replace("_", "."), name)
    return _value(ast.parse(text, mode="eval").body, {"INFINITY": math.inf})


def _gamma_inverse(share: float, shape: float) -> float:
    from scipy import special

    if shape <= 0:
        return 0.0
    found = special.gammaincinv(shape, share) if share <= 0.5 else special.gammainccinv(shape, 1 - share)
    return float(found)


def _normal_inverse(share: float) -> float:
    from scipy import special

    return float(special.ndtri(share))


def _normal(z: float) -> float:
    from scipy import special

    return float(special.ndtr(z))


def _poisson_inverse(share: float, mean: float) -> float:
    """The smallest count k with P(X <= k) >= share; searched, so that no approximation enters."""
    from scipy import special

    count = max(0, math.floor(float(special.pdtrik(share, mean))) - 3) if mean > 0 else 0
    while float(special.pdtr(count, mean)) < share:
        count += 1
    return float(count)


def _mean(*values: float) -> float:
    return math.fsum(values) / len(values) if values else math.nan


def _step(*values: float) -> float:
    """The mean distance from one value to the next (the mean moving range)."""
    return _mean(*(abs(b - a) for a, b in pairwise(values)))


FUNCTIONS: Mapping[str, Callable[..., float]] = {
    "GAMMA_INV": _gamma_inverse,
    "NORM_S_INV": _normal_inverse,
    "NORM_S_DIST": _normal,
    "POISSON_INV": _poisson_inverse,
    "MOVING_RANGE": _step,
    "AVERAGE": _mean,
    "EXP": math.exp,
    "ROUND": lambda value: float(round(value)),
    "LN": math.log,
    "SQRT": math.sqrt,
    "MAX": max,
    "MIN": min,
    "ABS": abs,
    "WITHIN": lambda value, most: value if 0 <= value <= most * (1 + 1e-9) else math.inf,
    "SUM": lambda *values: math.fsum(values),
}
FUNCTION_WORDS = {
    "GAMMA_INV": "GAMMA.INV(p, n): the value below which a gamma variable of shape n and scale 1 lies with probability "
    "p; in a spreadsheet GAMMA.INV(p; n; 1)",
    "NORM_S_INV": "NORM.S.INV(p): the normal value below which p lies; in a spreadsheet by the same name",
    "NORM_S_DIST": "NORM.S.DIST(z): the share of the normal distribution below z; in a spreadsheet NORM.S.DIST(z; "
    "TRUE)",
    "POISSON_INV": "POISSON.INV(p, mean): the smallest count with at least p of a Poisson distribution at or below it",
    "WITHIN": "WITHIN(x, most): x if it lies between 0 and the most allowed, else without limit",
    "MOVING_RANGE": "MOVING.RANGE(...): the mean distance from one value to the next",
}
_SYMBOLS: Mapping[type[ast.operator], tuple[str, int, Callable[[Any, Any], Any]]] = {
    ast.Add: ("+", 1, operator.add),
    ast.Sub: ("-", 1, operator.sub),
    ast.Mult: ("×", 2, operator.mul),
    ast.Div: ("/", 2, operator.truediv),
    ast.Pow: ("^", 4, operator.pow),
}


def functions_in(expression: str) -> list[str]:
    """What the functions of an expression do, one sentence each, where the name does not say it."""
    used = {
        node.func.id
        for node in ast.walk(ast.parse(expression))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
    }
    return [words for name, words in FUNCTION_WORDS.items() if name in used]


def _value(node: ast.expr, names: Mapping[str, float]) -> float:
    if isinstance(node, ast.Constant):
        return float(node.value)  # type: ignore[arg-type]
    if isinstance(node, ast.Name):
        return names[node.id]
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        return -_value(node.operand, names)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
        return float(FUNCTIONS[node.func.id](*(_value(one, names) for one in node.args)))
    if isinstance(node, ast.BinOp):
        left, right = _value(node.left, names), _value(node.right, names)
        if isinstance(node.op, ast.Div) and right == 0:
            return math.nan if left == 0 or math.isnan(left) else math.copysign(math.inf, left)
        return float(_SYMBOLS[type(node.op)][2](left, right))
    raise ValueError(f"a formula may not hold {ast.dump(node)}")


def _written(node: ast.expr, names: Mapping[str, str], within: int = 0) -> str:
    if isinstance(node, ast.Constant):
        return exact(float(node.value))  # type: ignore[arg-type]
    if isinstance(node, ast.Name):
        text = names[node.id]
        return f"({text})" if text.startswith("-") and within else text
    if isinstance(node, ast.UnaryOp):
        return f"-{_written(node.operand, names, 3)}"
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
        return f"{node.func.id.replace('_', '.')}({', '.join(_written(one, names) for one in node.args)})"
    assert isinstance(node, ast.BinOp)
    symbol, rank, _ = _SYMBOLS[type(node.op)]
    is_strict = isinstance(node.op, (ast.Sub, ast.Div))  # what follows - or / keeps its own brackets
    left = _written(node.left, names, rank + isinstance(node.op, ast.Pow))
    text = f"{left} {symbol} {_written(node.right, names, rank + is_strict)}"
    return f"({text})" if rank < within else text
