"""Which published counts to hide so that no small count can be worked out from the others.

A table of counts is a set of sums over the same cells ("atoms"). A reader knows every sum that is printed, which sums
are not, that counts are whole numbers from 0 up, and which atoms must be equal in sum (``links``). A small count is
safe when some other table agrees with all of that and has a count there that is not small.

The search is that of complementary cell suppression: Fischetti M, Salazar JJ. Models and algorithms for optimizing
cell suppression in tabular data with linear constraints. Journal of the American Statistical Association 2000 (cited
from memory). Each small count asks for the cheapest set of further cells that makes such another table possible (a
mixed integer program); cells that turn out not to be needed are printed after all.
"""

from __future__ import annotations

import ctypes
import os
import sys
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_matrix, hstack

_NODES = 20_000  # of a search tree; a bound on work that is the same on every machine, unlike a bound on time


@dataclass(frozen=True)
class Sum:
    """A count that is the sum of some atoms: its name, their places, its true value, and what hiding it costs."""

    name: str
    atoms: tuple[int, ...]
    value: int
    cost: int = 0


@dataclass(frozen=True)
class Link:
    """Two sets of atoms that have the same sum, whatever it is."""

    one: tuple[int, ...]
    other: tuple[int, ...]


@dataclass(frozen=True)
class Suppression:
    """``small``: sums hidden because they are small; ``further``: those hidden so that the small ones stay hidden.

    ``exposed`` names small counts that could not be protected by hiding printed sums; empty in every finished search.
    """

    small: frozenset[str]
    further: frozenset[str]
    exposed: tuple[str, ...]

    @property
    def hidden(self) -> frozenset[str]:
        """All that is not printed."""
        return self.small | self.further


def is_small(value: int, below: int) -> bool:
    """True for 1 to ``below`` - 1. Nought is not small: it points at nobody."""
    return 0 < value < below


class Reader:
    """What a reader of printed sums can work out.

    ``atoms`` is their number; ``sums`` are all sums that may be printed. Hidden sums are known not to be nought,
    because noughts are always printed.
    """

    def __init__(self, atoms: int, sums: Sequence[Sum], links: Sequence[Link], below: int) -> None:
        self.below = below
        self.sums = tuple(sums)
        self._atoms = atoms
        self._rows = _matrix([one.atoms for one in self.sums], atoms)
        self._values = np.array([one.value for one in self.sums], dtype=float)
        self._links = csr_matrix(_matrix([x.one for x in links], atoms) - _matrix([x.other for x in links], atoms))
        # All counts times ``below`` always make another table, so a search need not look further than this.
        self._most = float(below * max((one.value for one in self.sums), default=1) + below)
        self._tables: list[NDArray[np.float64]] = []  # other tables found so far: most serve again

    def exposed(self, hidden: Collection[str], targets: Iterable[Sum]) -> tuple[Sum, ...]:
        """The small counts among ``targets`` for which every table that agrees with print has a small count."""
        left = [one for one in targets if is_small(one.value, self.below)]
        for table in self._tables:
            if self._agrees(table, hidden):
                left = self._not_cleared(table, left)
        found = []
        while left:
            other = self._other_table(hidden, left)
            if other is None:
                found.append(left.pop(0))
            else:
                self._tables.append(other)
                left = self._not_cleared(other, left)
        return tuple(found)

    def _agrees(self, table: NDArray[np.float64], hidden: Collection[str]) -> bool:
        """True if a whole-number table fits everything that the reader knows, exactly."""
        least, most = self._limits(hidden)
        sums, gaps = np.asarray(self._rows @ table), np.asarray(self._links @ table)
        return bool((gaps == 0).all() and (table >= 0).all() and (sums >= least).all() and (sums <= most).all())

    def _not_cleared(self, table: NDArray[np.float64], targets: Iterable[Sum]) -> list[Sum]:
        return [one for one in targets if table[list(one.atoms)].sum() < self.below]

    def _limits(self, hidden: Collection[str]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Least and most that a reader knows of each sum: its value if printed, else at least 1."""
        is_hidden = np.array([one.name in hidden for one in self.sums], dtype=bool)
        return np.where(is_hidden, 1.0, self._values), np.where(is_hidden, np.inf, self._values)

    def _other_table(self, hidden: Collection[str], targets: Sequence[Sum]) -> NDArray[np.float64] | None:
        """A table that agrees with print and has ``below`` or more at the first target, and at many of the others."""
        n, m = self._atoms, len(targets)
        at = _matrix([one.atoms for one in targets], n)
        floor = np.zeros(m)
        floor[0] = self.below
        rules = [
            LinearConstraint(_beside(self._rows, _nothing(len(self.sums), m)), *self._limits(hidden)),
            LinearConstraint(_beside(self._links, _nothing(self._links.shape[0], m)), 0, 0),
            LinearConstraint(_beside(at, -_diagonal(np.ones(m))), 0, np.inf),  # gains are at most the counts
        ]
        found = _solved(
            np.concatenate([np.zeros(n), -np.ones(m)]),
            integrality=np.ones(n + m, dtype=np.int64),
            bounds=Bounds(
                np.concatenate([np.zeros(n), floor]),
                np.concatenate([np.full(n, self._most), np.full(m, float(self.below))]),
            ),
            constraints=rules,
            options={"node_limit": _NODES, "mip_rel_gap": 0.25},
        )
        if found.x is None:
            return None
        table = np.round(found.x[:n])
        return table if self._agrees(table, hidden) and table[list(targets[0].atoms)].sum() >= self.below else None

    def cheapest(self, hidden: Collection[str], target: Sum) -> frozenset[str] | None:
        """The cheapest further sums whose hiding protects the target; ``None`` if the search finds none.

        Noughts stay printed.
        """
        n, m = self._atoms, len(self.sums)
        least, most = self._limits(hidden)
        may_hide = np.isfinite(most) & (self._values > 0)
        # All counts times ``below`` are always another table, so no count has to move further than this.
        room = (self.below - 1) * np.maximum(self._values, 1.0)
        rules = [
            LinearConstraint(_beside(self._rows, -_diagonal(may_hide * room)), -np.inf, most),
            LinearConstraint(_beside(self._rows, _diagonal(may_hide * (self._values - 1.0))), least, np.inf),
            LinearConstraint(_beside(_matrix([target.atoms], n), _nothing(1, m)), self.below, np.inf),
            LinearConstraint(_beside(self._links, _nothing(self._links.shape[0], m)), 0, 0),
        ]
        found = _solved(
            np.concatenate([np.zeros(n), [float(one.cost) for one in self.sums]]),
            integrality=np.ones(n + m, dtype=np.int64),
            bounds=Bounds(0, np.concatenate([np.full(n, self._most), may_hide.astype(float)])),
            constraints=rules,
            options={"node_limit": _NODES, "mip_rel_gap": 0.02},
        )
        if found.x is None:
            return None
        chosen = np.round(found.x[n:]) > 0
        return frozenset(one.name for one, is_chosen in zip(self.sums, chosen, strict=True) if is_chosen)


def suppress(reader: Reader, targets: Sequence[Sum], *, complementary: bool = True) -> Suppression:
    """Hide the small sums, then further ones until no small count among ``targets`` can be worked out.

    ``targets`` are sums and differences of sums, each written as a sum of atoms. The same input gives the same answer.
    Without ``complementary`` only the small sums are hidden: that is not safe, and there to show it.
    """
    small = frozenset(one.name for one in reader.sums if is_small(one.value, reader.below))
    if not complementary:
        return Suppression(small, frozenset(), ())
    further: frozenset[str] = frozenset()
    while left := reader.exposed(small | further, targets):
        chosen = reader.cheapest(small | further, left[0])
        if not chosen:  # everything but noughts hidden protects every count
            chosen = frozenset(one.name for one in reader.sums if one.value) - small
        if chosen <= further:
            break
        further |= chosen
    return Suppression(small, _needed(reader, small, further, targets), tuple(one.name for one in left))


def _needed(reader: Reader, small: frozenset[str], further: frozenset[str], targets: Sequence[Sum]) -> frozenset[str]:
    """``further`` without the sums that can be printed after all, the dearest tried first."""
    cost: Mapping[str, int] = {one.name: one.cost for one in reader.sums}
    for name in sorted(further, key=lambda one: (-cost[one], one)):
        if not reader.exposed(small | (further - {name}), targets):
            further = further - {name}
    return further


def _solved(aim: NDArray[np.float64], **asked: Any) -> Any:
    """``milp``, with the remarks that the solver's C++ code prints past Python kept off the standard output."""
    if sys.platform == "win32":
        return milp(aim, **asked)
    try:
        kept = os.dup(1)
    except OSError:  # there is no standard output
        return milp(aim, **asked)
    libc, nowhere = ctypes.CDLL(None), os.open(os.devnull, os.O_WRONLY)
    sys.stdout.flush()
    try:
        os.dup2(nowhere, 1)
        return milp(aim, **asked)
    finally:
        libc.fflush(None)
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)


def _matrix(rows: Sequence[Sequence[int]], columns: int) -> csr_matrix[np.float64]:
    ends = np.cumsum([0, *(len(row) for row in rows)])
    places = np.array([place for row in rows for place in row], dtype=np.int64)
    return csr_matrix((np.ones(places.size), places, ends), shape=(len(rows), columns))


def _diagonal(values: NDArray[np.float64]) -> csr_matrix[np.float64]:
    m = values.size
    return csr_matrix((values, np.arange(m), np.arange(m + 1)), shape=(m, m))


def _nothing(rows: int, columns: int) -> csr_matrix[np.float64]:
    return csr_matrix((rows, columns), dtype=np.float64)


def _beside(one: csr_matrix[np.float64], other: csr_matrix[np.float64]) -> csr_matrix[np.float64]:
    return csr_matrix(hstack([one, other]))
