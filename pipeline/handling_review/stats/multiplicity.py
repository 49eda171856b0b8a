"""Many units at once: one test for all of them first, then each against the rest."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from handling_review.stats import _inputs, ratios
from handling_review.stats._inputs import Array, Values


@dataclass(frozen=True)
class Homogeneity:
    """Tests that all units have one rate: Pearson chi-square and deviance, with their p-values.

    With fewer than two units or no event ``df`` is 0 and the p-values are 1.
    """

    pearson: float
    deviance: float
    df: int
    p_pearson: float
    p_deviance: float


@dataclass(frozen=True, eq=False)
class AgainstRest:
    """Each unit against all others together, shape (units,).

    ``p_value`` is of the method asked for, ``adjusted`` its Benjamini-Hochberg value.
    """

    ratio: Array
    lower: Array
    upper: Array
    p_value: Array
    adjusted: Array


def benjamini_hochberg(p_values: Values) -> Array:
    """Adjusted p-values: calling those below q keeps the expected share of false calls below q.

    Args:
        p_values: 1-D; ``nan`` stands for a test not made, stays ``nan`` and does not count as a test.

    Returns:
        Adjusted values in the order of the input.

    Raises:
        ValueError: values outside 0 to 1.

    Source: Benjamini & Hochberg 1995, J R Stat Soc B 57:289-300.
    """
    p = np.atleast_1d(np.asarray(p_values, dtype=np.float64))
    if p.ndim != 1 or ((p < 0) | (p > 1)).any():
        raise ValueError("p_values must be a list of numbers between 0 and 1")
    made = np.flatnonzero(~np.isnan(p))
    order = made[np.argsort(p[made], kind="stable")]
    scaled = p[order] * order.size / np.arange(1, order.size + 1)
    adjusted = np.full(p.size, math.nan)
    adjusted[order] = np.minimum(1.0, np.minimum.accumulate(scaled[::-1])[::-1])
    return adjusted


def homogeneity(events: Values, hours: Values) -> Homogeneity:
    """Tests that all units share the overall rate.

    Args:
        events, hours: one entry per unit, hours above 0.

    Returns:
        ``Homogeneity``. Pearson: sum of (y - e)^2 / e; deviance: 2 sum y log(y / e), with e the overall rate
        times the hours. Both are chi-square with units - 1 degrees of freedom when counts are not small.

    Raises:
        ValueError: bad counts or hours, unequal lengths.

    Source: McCullagh & Nelder 1989, Generalized Linear Models, ch. 6.
    """
    y, t = (
        np.atleast_1d(values)
        for values in _inputs.same_length(
            events=_inputs.counts("events", events), hours=_inputs.positive("hours", hours)
        )
    )
    if y.size < 2 or y.sum() == 0:
        return Homogeneity(0.0, 0.0, 0, 1.0, 1.0)
    expected = t * (y.sum() / t.sum())
    pearson = float(((y - expected) ** 2 / expected).sum())
    deviance = max(0.0, 2 * float(special.xlogy(y, y / expected).sum()))
    df = y.size - 1
    return Homogeneity(pearson, deviance, df, float(special.chdtrc(df, pearson)), float(special.chdtrc(df, deviance)))


def against_rest(events: Values, hours: Values, confidence: float = 0.95, method: str = "mid_p") -> AgainstRest:
    """The rate ratio of each unit to all other units together.

    Args:
        events, hours: one entry per unit, at least two units, hours above 0.
        confidence, method: as in ``ratios.rate_ratio``; the intervals are not widened for their number.

    Returns:
        ``AgainstRest``.

    Raises:
        ValueError: bad counts or hours, fewer than two units.
    """
    y, t = (
        np.atleast_1d(values)
        for values in _inputs.same_length(
            events=_inputs.counts("events", events), hours=_inputs.positive("hours", hours)
        )
    )
    if y.size < 2:
        raise ValueError("events must be of two units or more")
    rest_hours = np.array([math.fsum(np.delete(t, place)) for place in range(t.size)])
    found = ratios.rate_ratio(y, t, y.sum() - y, rest_hours, confidence, method)
    return AgainstRest(found.estimate, found.lower, found.upper, found.p_value, benjamini_hochberg(found.p_value))
