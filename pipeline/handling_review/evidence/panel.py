"""What the designs work on and what they give: cases and hours by unit and quarter, and one result a design."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
Flags = NDArray[np.bool_]

NOT_STARTED, STARTED, STARTING = 0, 1, 2
BEFORE_AFTER, CONTROL, COMPARISON = "before_after", "negative_control", "comparison"
INTERRUPTED, ADJUSTED, WITHIN, STAGGERED = "interrupted", "adjusted", "within_quarter", "staggered"
LADDER = (BEFORE_AFTER, CONTROL, COMPARISON, INTERRUPTED, ADJUSTED, WITHIN, STAGGERED)  # weakest first
TREND_PROOF = (STAGGERED, COMPARISON)  # what moves all units alike cannot move these
LEVEL_TREND_PROOF = ADJUSTED  # a steady yearly change cannot move this one
# The largest standard error of a log ratio at which a fall of four fifths is found four times in five:
# -log(1 - 0.8) / (1.96 + 0.84). A design that could not even show that does not lead while another could.
LARGEST_USABLE_ERROR = 0.575
NO_CASE = "there is no case on either side"
FEWEST_QUARTERS = 3  # on either side of a start: two points fix a line, one more is needed to see it miss
FASTEST_BACKGROUND_FALL = 0.04  # a year, with no program at all; see ``before_after.YEARLY_FALL``


@dataclass(frozen=True, eq=False)
class Panel:
    """Cases and hours of units by quarter, by the unit's own start. One row per unit x quarter x state.

    Attributes:
        unit, quarter: codes from 0, shape (n,); quarters in calendar order, none left out.
        state: ``NOT_STARTED``, ``STARTED`` or ``STARTING`` (the rest of the quarter in which a unit starts, in
            which people are still being trained: it belongs to neither side), shape (n,).
        is_comparison: rows of units without the program, shape (n,).
        hours, events: hours worked and cases of the series asked about, shape (n,).
    """

    unit: Codes
    quarter: Codes
    state: Codes
    is_comparison: Flags
    hours: Array
    events: Array


@dataclass(frozen=True, eq=False)
class Personal:
    """The same by each person's own training date. One row per unit x quarter, all arrays of shape (n,).

    ``events1`` and ``hours1`` are after training and its washout, ``events0`` and ``hours0`` before it;
    ``other1`` and ``other0`` are injuries that do not come from handling. ``years_apart`` is the distance between
    the hours-weighted middles of the two phases. ``holds_others`` is true where the cases asked about hold those other
    injuries too (all recordable ones do), so that the two kinds cannot be set against each other.
    """

    events1: Array
    hours1: Array
    events0: Array
    hours0: Array
    other1: Array
    other0: Array
    years_apart: float
    holds_others: bool = False


@dataclass(frozen=True)
class Check:
    """One assumption of a design: whether the data met it (``None``: the data cannot tell), and what was seen."""

    assumption: str
    met: bool | None
    seen: str


@dataclass(frozen=True)
class Designed:
    """What one design finds.

    Attributes:
        design: one of ``LADDER``.
        estimate, lower, upper, p_value: ratio of the rate with the program to the rate without, two-sided.
        events1, hours1, events0, hours0: cases and hours on either side.
        expected_error: standard error of the log ratio to expect if the program did nothing, from hours and the
            overall rate alone: known before looking at which side the cases fell on. ``inf`` if not computable.
        checks: assumptions with what the data say of them.
        reason: why there is no ratio; "" if there is one.
    """

    design: str
    estimate: float = math.nan
    lower: float = 0.0
    upper: float = math.inf
    p_value: float = 1.0
    events1: float = 0.0
    hours1: float = 0.0
    events0: float = 0.0
    hours0: float = 0.0
    expected_error: float = math.inf
    checks: tuple[Check, ...] = ()
    reason: str = ""

    @property
    def is_usable(self) -> bool:
        """True if the design could show a fall of four fifths, known before looking at the cases' sides."""
        return not self.reason and self.expected_error <= LARGEST_USABLE_ERROR


def with_result(
    blank: Designed,
    estimate: float,
    lower: float,
    upper: float,
    p_value: float,
    error: float,
    checks: tuple[Check, ...],
) -> Designed:
    """A result with its ratio, interval, expected error and checks filled in."""
    return replace(
        blank,
        estimate=float(estimate),
        lower=float(lower),
        upper=float(upper),
        p_value=float(p_value),
        expected_error=error,
        checks=checks,
    )


def enough_cases(events1: float, events0: float) -> Check:
    """Whether the side with fewer cases has five or more."""
    fewest = min(events1, events0)
    return Check("Both sides have five cases or more.", fewest >= 5, f"The side with fewer has {fewest:.0f}.")


def error_of_two(hours1: float, hours0: float, events: float) -> float:
    """Expected standard error of a log ratio when ``events`` fall on both sides as the hours do."""
    if not events:
        return math.inf
    return math.sqrt((hours1 + hours0) ** 2 / (events * hours1 * hours0))


def total(values: Array) -> float:
    """The sum as a plain number."""
    return float(values.sum())
