"""Early warning: a running sum that grows when events come faster than a reference rate allows."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray
from scipy import special

from handling_review.stats import _inputs
from handling_review.stats._inputs import BASE_HOURS, Array, Values

PERIODS_BETWEEN_FALSE_ALARMS = 40.0  # ten years of quarters
_COARSE = 20  # steps of an event while looking for a threshold
_COARSEST = 8  # steps of an event at least, for the head start
_FINEST = 600  # sums below the threshold that the chain tells apart
_HIGHEST = 2_000  # events


@dataclass(frozen=True, eq=False)
class Cusum:
    """A one-sided Poisson CUSUM.

    Attributes:
        statistic: running sum after each period, in events, shape (periods,).
        signal: whether it has reached the threshold, shape (periods,). It is not set back after a signal.
        reference: events that a period may have without the sum growing, shape (periods,).
        threshold: events; the sum signals at or above it.
        in_control_run_length: average periods until a false signal at the target rate, with the mean hours.
        changed_run_length: average periods until a signal once the rate has changed by ``ratio``.
    """

    statistic: Array
    signal: NDArray[np.bool_]
    reference: Array
    threshold: float
    in_control_run_length: float
    changed_run_length: float


def poisson_cusum(
    events: Values,
    hours: Values,
    target_per_200k: float,
    ratio: float = 2.0,
    threshold: float | None = None,
    periods_between_false_alarms: float = PERIODS_BETWEEN_FALSE_ALARMS,
) -> Cusum:
    """Poisson CUSUM tuned to a change of the rate by ``ratio`` (by default a doubling).

    Args:
        events, hours: one entry per period in order; periods without hours leave the sum as it is.
        target_per_200k: rate of the steady process, per 200,000 hours, above 0.
        ratio: the change to find fast: above 1 for a rise, below 1 for a fall.
        threshold: events; ``None`` takes the lowest one with the wanted false alarms.
        periods_between_false_alarms: average number of periods to a false alarm, used without a threshold.

    Returns:
        ``Cusum``. The reference of a period is target x (ratio - 1) / log(ratio) for its hours, which makes
        the sum that of the likelihood ratios of the two rates.

    Raises:
        ValueError: bad counts or hours, no hours at all, a ratio of 1, values not above 0.

    Source: Lucas 1985, Technometrics 27:129-144 (a signal at or above h); average run lengths by a Markov
    chain, Brook & Evans 1972, Biometrika 59:539-549.
    """
    y, t = _inputs.events_and_hours(events, hours)
    target = _inputs.positive_number("target_per_200k", target_per_200k)
    change = _inputs.positive_number("ratio", ratio)
    if change == 1:
        raise ValueError("ratio must differ from 1")
    if not (t > 0).any():
        raise ValueError("hours must be above 0 in at least one period")
    reference = target * (change - 1) / math.log(change) * t / BASE_HOURS
    upward = change > 1
    statistic = _running_sum(y - reference if upward else reference - y)
    mean = target * float(t[t > 0].mean()) / BASE_HOURS
    k = float(reference[t > 0].mean())
    height = (
        _threshold(mean, k, upward, _inputs.positive_number("periods", periods_between_false_alarms))
        if threshold is None
        else _inputs.positive_number("threshold", threshold)
    )
    return Cusum(
        statistic=statistic,
        signal=statistic >= height - 1e-9,
        reference=reference,
        threshold=height,
        in_control_run_length=run_length(mean, k, height, upward=upward),
        changed_run_length=run_length(mean * change, k, height, upward=upward),
    )


def _running_sum(steps: Array) -> Array:
    """Sums that start at 0 and are never let below it."""
    sums = np.empty(steps.size)
    level = 0.0
    for place, step in enumerate(steps):
        sums[place] = level = max(0.0, level + float(step))
    return sums


def run_length(
    mean: float, reference: float, threshold: float, head_start: float = 0.0, *, upward: bool = True
) -> float:
    """Average number of periods until the CUSUM signals, with a constant expected count.

    Args:
        mean: expected events per period, above 0.
        reference: k, taken off (upward) or the count taken off from it (downward) in each period, above 0.
        threshold: h, above 0; a signal is a sum of h or more.
        head_start: where the sum starts, 0 up to below h.
        upward: whether it looks for a rise.

    Returns:
        Periods; infinite where that exceeds what a float can resolve. Exact for a reference that is a simple
        fraction of an event, else for the nearest fraction that 600 sums below the threshold allow.

    Raises:
        ValueError: values outside the ranges above, a threshold of more than 2,000 events.

    Source: Brook & Evans 1972, Biometrika 59:539-549; Lucas 1985 prints 438 for mean 0.25, k 0.25, h 10.
    """
    rate, k = _inputs.positive_number("mean", mean), _inputs.positive_number("reference", reference)
    height = _inputs.positive_number("threshold", threshold)
    start = float(_inputs.not_negative("head_start", head_start))
    if start >= height:
        raise ValueError("head_start must be below the threshold")
    return _run_length(rate, k, height, start, _FINEST, upward)


def _run_length(mean: float, k: float, height: float, start: float, finest: int, upward: bool) -> float:
    step, grid = _grid(k, height, finest)
    lengths = _run_lengths(mean, step, height, grid, upward)
    return float(lengths[min(round(start * grid), lengths.size - 1)])


def _grid(k: float, height: float, finest: int) -> tuple[int, int]:
    """k as a fraction: so many steps (at least one), of which this many make an event."""
    if height > _HIGHEST:
        raise ValueError(f"threshold must be lower: more than {_HIGHEST:,} events are too many")
    affordable = max(1, int(_FINEST / height))
    nearest = Fraction(k).limit_denominator(min(finest, affordable))
    finer = min(math.ceil(_COARSEST / nearest.denominator), affordable // nearest.denominator)
    grid = nearest.denominator * finer
    return max(1, nearest.numerator * finer), grid


def _run_lengths(mean: float, step: int, height: float, grid: int, upward: bool) -> Array:
    """Average run length from each sum 0, 1 / grid, 2 / grid ... below the threshold; k is step / grid."""
    from scipy.sparse import csc_array  # a tenth of a second to load, and not needed without a run length
    from scipy.sparse.linalg import splu

    states = math.ceil(height * grid - 1e-9)
    place = np.arange(states)
    count = np.arange((states - 1 + step) // grid + 1)  # as many events as lead from one sum to another
    chance = np.exp(special.xlogy(count, mean) - mean - special.gammaln(count + 1))
    gain = count * grid - step if upward else step - count * grid
    to = place[:, None] + gain[None, :]
    start, events = np.nonzero((to > 0) & (to < states))
    to_0 = step - place if upward else step + place  # sums at or below 0 all end at 0
    if upward:
        at_0 = np.where(to_0 >= 0, special.pdtr(np.maximum(to_0, 0) // grid, mean), 0.0)
    else:
        least = -(-to_0 // grid)  # this many events or more
        at_0 = np.where(least > 0, special.pdtrc(np.maximum(least - 1, 0), mean), 1.0)
    # A sum can be reached from a few others only: the identity less these chances, solved as a sparse system.
    system = csc_array(
        (
            np.concatenate([np.ones(states), -chance[events], -at_0]),
            (np.concatenate([place, start, place]), np.concatenate([place, to[start, events], np.zeros_like(place)])),
        ),
        shape=(states, states),
    )
    system.eliminate_zeros()
    try:
        found = splu(system).solve(np.ones(states))
    except RuntimeError:  # exactly singular: the sum never gets there
        return np.full(states, math.inf)
    return np.where((found > 0) & (found < 1e14), found, math.inf)


def _threshold(mean: float, k: float, upward: bool, wanted: float) -> float:
    """The lowest threshold, to 1 / 20 of an event, with at least ``wanted`` periods to a false alarm."""

    def waits_enough(steps: int, finest: int) -> bool:
        return _run_length(mean, k, steps / _COARSE, 0.0, finest, upward) >= wanted

    low, high = 0, _COARSE
    while not waits_enough(high, _COARSE):
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if waits_enough(middle, _COARSE) else (middle, high)
    while not waits_enough(high, _FINEST):  # the fine grid may differ a little
        high += 1
    while high > 1 and waits_enough(high - 1, _FINEST):
        high -= 1
    return high / _COARSE
