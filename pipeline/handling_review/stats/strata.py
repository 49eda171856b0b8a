"""One rate ratio from many strata (unit x quarter), each compared only within itself."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from handling_review.stats import _inputs, _tilted
from handling_review.stats._inputs import BASE_HOURS, Array, Values
from handling_review.stats.ratios import METHODS, Difference

FEW_EVENTS = 5  # fewer in either group over all strata: the large-sample interval is not trusted


@dataclass(frozen=True)
class StratifiedRatio:
    """A rate ratio common to all strata.

    Attributes:
        estimate, lower, upper: the ratio (group 1 over group 0) and its interval.
        homogeneity_p: likelihood-ratio test that the ratio is the same in all strata; ``nan`` if fewer than
            two strata have events, or one group has none.
        homogeneity_statistic, homogeneity_df: chi-square and degrees of freedom of that test.
        p_value: two-sided, ratio 1, by the same method as the interval.
        strata_used: strata with hours in both groups and at least one event.
        method: ``mantel_haenszel``, ``mid_p`` or ``exact``.
        notes: what was left out or replaced, as sentences.
    """

    estimate: float
    lower: float
    upper: float
    homogeneity_p: float
    homogeneity_statistic: float
    homogeneity_df: int
    p_value: float
    strata_used: int
    method: str
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class _Strata:
    y1: Array
    t1: Array
    y0: Array
    t0: Array
    notes: tuple[str, ...]


def common_ratio(
    events1: Values, hours1: Values, events0: Values, hours0: Values, confidence: float = 0.95
) -> StratifiedRatio:
    """The ratio common to all strata: Mantel-Haenszel, or the exact one when events are few.

    Args and errors as in ``mantel_haenszel``. With fewer than five events in either group the mid-P
    conditional interval is used instead, and a note says so.
    """
    found = mantel_haenszel(events1, hours1, events0, hours0, confidence)
    fewest = min(np.sum(np.asarray(events1)), np.sum(np.asarray(events0)))
    if fewest >= FEW_EVENTS or found.method != "mantel_haenszel":
        return found
    exact = exact_common_ratio(events1, hours1, events0, hours0, confidence)
    note = f"fewer than {FEW_EVENTS} events in a group: exact conditional ratio (mid-P) used"
    return replace(exact, notes=(*exact.notes, note))


def mantel_haenszel(
    events1: Values, hours1: Values, events0: Values, hours0: Values, confidence: float = 0.95
) -> StratifiedRatio:
    """Mantel-Haenszel rate ratio with the Greenland-Robins variance of its logarithm.

    Args:
        events1, events0: events of either group, 1-D, one per stratum.
        hours1, hours0: hours worked. A stratum in which a group has none is left out, with a note.
        confidence: for example 0.95.

    Returns:
        ``StratifiedRatio``; empty strata do not matter. If one group has no event at all the variance does
        not exist: the limits are then those of ``exact_common_ratio`` (mid-P), as ``method`` says.

    Raises:
        ValueError: counts that are negative or not whole, negative hours, events in a group without hours,
            unequal lengths, confidence outside (0, 1).

    Source: Greenland & Robins 1985, Biometrics 41:55-68; homogeneity: deviance of the Poisson model with
    strata and group, Breslow & Day 1987, vol. II, ch. 4.
    """
    level = _inputs.share("confidence", confidence)
    data = _checked(events1, hours1, events0, hours0)
    if data.y1.sum() == 0 or data.y0.sum() == 0:
        exact = exact_common_ratio(events1, hours1, events0, hours0, confidence)
        note = "a group without events has no Mantel-Haenszel interval: exact conditional one (mid-P) used"
        return replace(exact, notes=(*exact.notes, note)) if data.y1.size else exact
    total = data.t1 + data.t0
    over = float((data.y1 * (data.t0 / total)).sum())
    under = float((data.y0 * (data.t1 / total)).sum())
    spread = float(((data.y1 + data.y0) * (data.t1 / total) * (data.t0 / total)).sum())
    error = math.sqrt(spread / (over * under))
    log_ratio, z = math.log(over / under), float(special.ndtri((1 + level) / 2))
    statistic, df, p_same = _homogeneity(data)
    return StratifiedRatio(
        estimate=over / under,
        lower=math.exp(log_ratio - z * error),
        upper=math.exp(log_ratio + z * error),
        homogeneity_p=p_same,
        homogeneity_statistic=statistic,
        homogeneity_df=df,
        p_value=2 * float(special.ndtr(-abs(log_ratio) / error)),
        strata_used=int((data.y1 + data.y0 > 0).sum()),
        method="mantel_haenszel",
        notes=data.notes,
    )


def mantel_haenszel_difference(
    events1: Values, hours1: Values, events0: Values, hours0: Values, confidence: float = 0.95
) -> Difference:
    """Mantel-Haenszel rate difference (group 1 minus group 0) per 200,000 hours, Greenland-Robins variance.

    Args and errors as in ``mantel_haenszel``; strata without events count here, with their hours.
    Source: Greenland & Robins 1985, Biometrics 41:55-68.
    """
    level = _inputs.share("confidence", confidence)
    data = _checked(events1, hours1, events0, hours0)
    if data.t1.size == 0:
        return Difference(math.nan, -math.inf, math.inf)
    total = data.t1 + data.t0
    weight = data.t1 * (data.t0 / total)
    all_weight = float(weight.sum())
    estimate = float((data.y1 * data.t0 / total - data.y0 * data.t1 / total).sum()) / all_weight
    spread = (data.t0 / total) ** 2 * data.y1 + (data.t1 / total) ** 2 * data.y0
    error = math.sqrt(float(spread.sum())) / all_weight
    reach = float(special.ndtri((1 + level) / 2)) * error
    return Difference(estimate * BASE_HOURS, (estimate - reach) * BASE_HOURS, (estimate + reach) * BASE_HOURS)


def exact_common_ratio(
    events1: Values,
    hours1: Values,
    events0: Values,
    hours0: Values,
    confidence: float = 0.95,
    method: str = "mid_p",
    null: float = 1.0,
) -> StratifiedRatio:
    """Conditional ratio common to all strata with exact or mid-P limits.

    Given the number of events in each stratum, the events of group 1 are a sum of binomial counts whose
    shares follow from the hours and the ratio. The estimate is the conditional (here also the unconditional)
    maximum likelihood one; limits and p-value come from the distribution of that sum.

    Args and errors as in ``mantel_haenszel``; ``method`` is ``"mid_p"`` or ``"exact"``, ``null`` the ratio
    that the p-value tests. Zero cells as in ``ratios.rate_ratio``.

    Source: Martin & Austin 1996, Epidemiology 7:67-71 (product of polynomials); here each stratum is tilted
    to the estimate first, so that counts of a million neither overflow nor lose digits.
    """
    tail = (1 - _inputs.share("confidence", confidence)) / 2
    _inputs.choice("method", method, METHODS)
    expected = math.log(_inputs.positive_number("null", null))
    data = _checked(events1, hours1, events0, hours0)
    statistic, df, p_same = _homogeneity(data)
    seen1, seen0 = float(data.y1.sum()), float(data.y0.sum())
    estimate, lower, upper, p_value = math.nan, 0.0, math.inf, 1.0
    if seen1 + seen0 > 0:
        distribution = _sum_of_binomials(data)
        lower, upper = distribution.limits(tail, method == "mid_p")
        p_value = distribution.p_value(expected, method == "mid_p")
        estimate = math.exp(distribution.centre)
        if seen1 == 0 or seen0 == 0:
            estimate = 0.0 if seen1 == 0 else math.inf
    return StratifiedRatio(
        estimate=estimate,
        lower=lower,
        upper=upper,
        homogeneity_p=p_same,
        homogeneity_statistic=statistic,
        homogeneity_df=df,
        p_value=p_value,
        strata_used=int((data.y1 + data.y0 > 0).sum()),
        method=method,
        notes=data.notes,
    )


def _checked(events1: Values, hours1: Values, events0: Values, hours0: Values) -> _Strata:
    y1, t1, y0, t0 = (
        np.atleast_1d(values)
        for values in _inputs.same_length(
            events1=_inputs.counts("events1", events1),
            hours1=_inputs.not_negative("hours1", hours1),
            events0=_inputs.counts("events0", events0),
            hours0=_inputs.not_negative("hours0", hours0),
        )
    )
    if ((t1 == 0) & (y1 > 0)).any() or ((t0 == 0) & (y0 > 0)).any():
        raise ValueError("hours must be above 0 wherever there are events")
    both = (t1 > 0) & (t0 > 0)
    left_out = int((~both).sum())
    notes = (f"{left_out} strata without hours in both groups left out",) if left_out else ()
    if not both.any():
        notes = ("no stratum has hours in both groups: nothing can be compared",)
    return _Strata(y1[both], t1[both], y0[both], t0[both], notes)


def _sum_of_binomials(data: _Strata) -> _tilted.Tilted:
    """The distribution of all events in group 1, given the events of each stratum."""
    some = data.y1 + data.y0 > 0
    events, odds = (data.y1 + data.y0)[some], np.log(data.t1 / data.t0)[some]
    seen, total = float(data.y1.sum()), float(events.sum())
    # with no event on one side there is no finite estimate: stand where half an event would be expected
    centre = _log_ratio_where_expected_is(min(max(seen, 0.5), total - 0.5), events, odds)
    start, weights = _convolved([_binomial(n, x + centre) for n, x in zip(events, odds, strict=True)])

    def log_scale(log_ratio: float) -> float:
        grown = np.logaddexp(0, odds + log_ratio) - np.logaddexp(0, odds + centre)
        return float((events * grown).sum()) - seen * (log_ratio - centre)

    with np.errstate(divide="ignore"):
        log_weights = np.log(weights)
    steps: Array = np.arange(weights.size, dtype=np.float64) + (start - seen)
    return _tilted.Tilted(steps, log_weights, centre, log_scale, seen == 0, seen == total)


def _log_ratio_where_expected_is(wanted: float, events: Array, odds: Array) -> float:
    """The log ratio at which ``wanted`` of all events are expected in group 1."""
    middle = math.log(wanted / (float(events.sum()) - wanted))
    low, high = middle - float(odds.max()) - 1e-9, middle - float(odds.min()) + 1e-9
    return _tilted.root(lambda x: float((events * special.expit(odds + x)).sum()) - wanted, low, high)


def _binomial(n: float, log_odds: float) -> tuple[int, Array]:
    """Start and probabilities of a binomial count, without the parts that cannot reach a digit."""
    mode = min(n, math.floor((n + 1) * float(special.expit(log_odds))))
    reach = math.ceil(15 * math.sqrt(max(n * float(special.expit(log_odds) * special.expit(-log_odds)), 1.0)))
    first, last = max(0.0, mode - 4 * reach - 120), min(n, mode + 4 * reach + 120)
    k = np.arange(first, last + 1)
    rising = np.log(n - k[:-1]) - np.log(k[1:]) + log_odds  # log p(k + 1) - log p(k)
    logs = np.concatenate([[0.0], np.cumsum(rising)])
    logs -= logs.max()
    kept = np.flatnonzero(logs > math.log(_tilted.NEGLIGIBLE))
    weights = np.exp(logs[kept[0] : kept[-1] + 1])
    return int(first) + int(kept[0]), weights / weights.sum()


def _convolved(parts: list[tuple[int, Array]]) -> tuple[int, Array]:
    """Start and probabilities of the sum of independent counts, short ones first, two by two."""
    parts = sorted(parts, key=lambda part: part[1].size)
    while len(parts) > 1:
        pairs = zip(parts[::2], parts[1::2], strict=False)
        merged = [_tilted.convolve(one, other) for one, other in pairs]
        parts = merged + parts[len(parts) - len(parts) % 2 :]
    start, weights = parts[0]
    return start, weights / weights.sum()


def _homogeneity(data: _Strata) -> tuple[float, int, float]:
    """Deviance of the common ratio, its degrees of freedom and p-value."""
    some = data.y1 + data.y0 > 0
    df = int(some.sum()) - 1
    if df < 1 or data.y1.sum() == 0 or data.y0.sum() == 0:
        return math.nan, max(df, 0), math.nan
    y1, y0 = data.y1[some], data.y0[some]
    odds = np.log(data.t1 / data.t0)[some]
    centre = _log_ratio_where_expected_is(float(y1.sum()), y1 + y0, odds)
    fitted1, fitted0 = (y1 + y0) * special.expit(odds + centre), (y1 + y0) * special.expit(-odds - centre)
    parts = special.xlogy(y1, y1 / fitted1) + special.xlogy(y0, y0 / fitted0)
    statistic = max(0.0, 2 * float(parts.sum()))
    return statistic, df, float(special.chdtrc(df, statistic))
