"""Cases still to be reported: a facility's own reporting lag, seen through the fact that long lags show only later."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handling_review.stats import _inputs
from handling_review.stats._inputs import Array, Values

DRAWS = 4000
_SEED = 1_904_32


@dataclass(frozen=True)
class LateCases:
    """Cases of one period that are expected to be reported late.

    Attributes:
        share_reported: share of the period's cases that is in the log by now, by the lag curve.
        expected_late: mean number of cases still to come.
        lower_late, upper_late: whole numbers between which it lies, for the confidence asked for; they carry the
            chance in the cases and in the curve.
    """

    share_reported: float
    expected_late: float
    lower_late: float
    upper_late: float


def reported_within(ages: Values, lags: Values, cases: Values, reported_by_then: Values) -> Array:
    """Share of cases that are reported within so many days.

    Args:
        ages: days since the event, 0 or more, shape (n,).
        lags: lengths of lag that were seen, in days, ascending, shape (m,).
        cases: cases with just that lag, shape (m,).
        reported_by_then: cases with that lag or a shorter one, among those whose event lies at least that lag before
            the day of the export (shape (m,), each at least ``cases``).

    Returns:
        Shape (n,): the product over longer lags of 1 - cases / reported_by_then; 1 beyond the longest lag seen. Before
        the shortest lag it is 0.

    Raises:
        ValueError: lags that do not ascend, negative counts, more cases than reported by then.

    Source: Kalbfleisch & Lawless 1989, JASA 84:360-372 (right-truncated lags, estimate in reverse time); Lawless 1994,
    Canadian Journal of Statistics 22:15-31.
    """
    u, n, risk = _curve(lags, cases, reported_by_then)
    return _share(_place(np.atleast_1d(_inputs.not_negative("ages", ages)), u), 1 - n / risk)


def late_cases(
    reported: float,
    ages: Values,
    lags: Values,
    cases: Values,
    reported_by_then: Values,
    confidence: float = 0.95,
    draws: int = DRAWS,
    seed: int = _SEED,
) -> LateCases:
    """Cases of a period still to be reported, from those reported and the lag curve.

    Cases are Poisson with one rate over the days of the period; what is not yet reported is then Poisson too. The rate
    has a gamma distribution given the cases reported (Jeffreys prior); the curve is drawn anew each time, each of its
    steps binomial.

    Args:
        reported: cases of the period in the log.
        ages: days from each day of the period to the day of the export, shape (days,).
        lags, cases, reported_by_then: as in ``reported_within``.
        confidence: for example 0.95. draws: at least 100. seed: of the random numbers.

    Returns:
        ``LateCases``.

    Raises:
        ValueError: as in ``reported_within``; counts not whole; confidence outside (0, 1); too few draws; a period of
            which nothing can have been reported yet.
    """
    y = _inputs.count("reported", reported)
    u, n, risk = _curve(lags, cases, reported_by_then)
    old = np.atleast_1d(_inputs.not_negative("ages", ages))
    level = _inputs.share("confidence", confidence)
    if draws < 100:
        raise ValueError(f"draws must be 100 or more, got {draws}")
    place, trials, chance = _place(old, u), risk.astype(np.int64), n / risk  # the same in every draw
    share = float(_share(place, 1 - chance).mean())
    if not share > 0:
        raise ValueError("ages must hold a day old enough for a case of it to be reported")
    dice = np.random.default_rng(seed)
    late = np.empty(draws)
    for i in range(draws):
        steps = 1 - dice.binomial(trials, chance) / risk
        drawn = max(float(_share(place, steps).mean()), 1e-6)
        late[i] = dice.poisson(dice.gamma(y + 0.5) / drawn * (1 - drawn))
    low, high = np.quantile(late, [(1 - level) / 2, (1 + level) / 2], method="inverted_cdf")
    expected = y * (1 - share) / share  # next to none lies between limits in whole cases that are both none
    return LateCases(share, expected, min(float(low), expected), max(float(high), expected))


def _curve(lags: Values, cases: Values, reported_by_then: Values) -> tuple[Array, Array, Array]:
    u = np.atleast_1d(_inputs.not_negative("lags", lags))
    n = np.atleast_1d(_inputs.not_negative("cases", cases))
    risk = np.atleast_1d(_inputs.not_negative("reported_by_then", reported_by_then))
    if not u.size == n.size == risk.size or u.size == 0:
        raise ValueError("lags, cases and reported_by_then must have the same length, at least 1")
    if (np.diff(u) <= 0).any():
        raise ValueError("lags must ascend")
    if (n > risk).any() or (risk <= 0).any():
        raise ValueError("reported_by_then must be above 0 and at least cases")
    return u, n, risk


def _place(ages: Array, lags: Array) -> NDArray[np.intp]:
    """How many of the lags are no longer than each age."""
    return np.searchsorted(lags, ages, side="right")


def _share(place: NDArray[np.intp], steps: Array) -> Array:
    """Product of the steps of all lags longer than an age at that place; 0 before the shortest lag."""
    tail = np.ones(steps.size + 1)
    np.cumprod(steps[:0:-1], out=tail[-2:0:-1])
    tail[0] = 0.0
    return tail[place]
