"""Handling injuries held against other injuries: a ratio of ratios from counts alone."""

from __future__ import annotations

import math

import numpy as np

from handling_review.stats import _inputs, _tilted
from handling_review.stats._inputs import Array
from handling_review.stats.ratios import METHODS, Ratio


def ratio_of_ratios(
    target1: float,
    target0: float,
    control1: float,
    control0: float,
    confidence: float = 0.95,
    method: str = "mid_p",
    null: float = 1.0,
) -> Ratio:
    """Change of the target events divided by the change of the control events.

    Both kinds of events happen on the same hours, so the hours cancel and ``(target1 / target0) /
    (control1 / control0)`` remains: the odds ratio of the 2 x 2 table of kind and period. Anything that moves
    both kinds alike (how much is reported, how staff hours are counted) cancels with them.

    Args:
        target1, target0: events of interest after and before (handling injuries).
        control1, control0: events that the program should not touch, after and before.
        confidence: for example 0.95.
        method: ``"mid_p"`` or ``"exact"``, as in ``ratios.rate_ratio``.
        null: the ratio of ratios that the p-value tests.

    Returns:
        ``Ratio``. ``estimate`` is the plain cross-product; limits and p-value come from the distribution of
        ``target1`` given all four margins. ``estimate`` is ``nan`` when the table cannot tell (0 / 0), 0 or
        infinite with a zero cell; a margin of 0 gives 0 to infinity and p = 1.

    Raises:
        ValueError: counts that are negative or not whole, confidence outside (0, 1), unknown method.

    Source: Lipsitch, Tchetgen Tchetgen & Cohen 2010, Epidemiology 21:383-388 (negative controls); Cornfield
    1956 and Fisher 1935 for the conditional distribution.
    """
    a, b, c, d = (
        _inputs.count(name, value)
        for name, value in (
            ("target1", target1),
            ("target0", target0),
            ("control1", control1),
            ("control0", control0),
        )
    )
    tail = (1 - _inputs.share("confidence", confidence)) / 2
    _inputs.choice("method", method, METHODS)
    log_null = math.log(_inputs.positive_number("null", null))
    over, under = a * d, b * c
    estimate = over / under if under else (math.inf if over else math.nan)
    if 0 in (a + b, c + d, a + c, b + d):
        return Ratio(estimate, 0.0, math.inf, 1.0, method)
    distribution = _noncentral_hypergeometric(a, b, c, d)
    lower, upper = distribution.limits(tail, method == "mid_p")
    return Ratio(estimate, lower, upper, distribution.p_value(log_null, method == "mid_p"), method)


def _noncentral_hypergeometric(a: int, b: int, c: int, d: int) -> _tilted.Tilted:
    """The distribution of ``a`` given the four margins, over its whole support."""
    lowest, highest = -min(a, d), min(b, c)
    steps: Array = np.arange(lowest, highest + 1, dtype=np.float64)
    k = steps[:-1]  # log p(k + 1) - log p(k) at odds ratio 1
    rising = np.log(b - k) + np.log(c - k) - np.log(a + k + 1) - np.log(d + k + 1)
    logs = np.concatenate([[0.0], np.cumsum(rising)])
    centre = math.log((a + 0.5) * (d + 0.5) / ((b + 0.5) * (c + 0.5)))
    logs += steps * centre
    logs -= logs.max()
    at_centre = _log_sum(logs)

    def log_scale(log_ratio: float) -> float:
        return _log_sum(logs + steps * (log_ratio - centre)) - at_centre

    return _tilted.Tilted(steps, logs - at_centre, centre, log_scale, lowest == 0, highest == 0)


def _log_sum(logs: Array) -> float:
    top = float(logs.max())
    return top + math.log(float(np.exp(logs - top).sum()))
