"""Against SciPy, statsmodels and plain enumeration, for models, strata, power and many units."""

from __future__ import annotations

import itertools
import math
from fractions import Fraction

import numpy as np
import pytest
from scipy import integrate, optimize, stats

from handling_review.stats import (
    bayes,
    casemix,
    models,
    multiplicity,
    power,
    ratios,
    series,
    shrinkage,
    strata,
    trend,
)

RNG_SEED = 20_240_611


@pytest.mark.parametrize(
    "table", [(3, 1, 1, 3), (9, 18, 25, 20), (0, 7, 4, 6), (6, 3, 0, 5), (146, 265, 169, 186), (2, 0, 5, 9)]
)
def test_conditional_odds_ratio_limits_equal_scipys(table: tuple[int, int, int, int]) -> None:
    """scipy.stats.contingency.odds_ratio, the conditional limits that R's fisher.test prints."""
    a, b, c, d = table
    found = casemix.ratio_of_ratios(a, b, c, d, method="exact")
    limits = stats.contingency.odds_ratio([[a, b], [c, d]]).confidence_interval(0.95)
    assert found.lower == pytest.approx(limits.low, rel=1e-6)
    assert found.upper == pytest.approx(limits.high, rel=1e-6)
    sides = [stats.fisher_exact([[a, b], [c, d]], alternative=side).pvalue for side in ("less", "greater")]
    assert found.p_value == pytest.approx(min(1.0, 2 * min(sides)), rel=1e-9)


STRATA = [
    ([2, 1], [3.0, 1.0], [1, 4], [2.0, 2.0]),
    ([0, 3, 1], [1.0, 2.5, 4.0], [2, 0, 2], [1.5, 2.0, 3.0]),
    ([5, 0], [2.0, 1.0], [3, 6], [1.0, 1.0]),
]


def _tails_by_listing(data: tuple[list, ...], ratio: float) -> tuple[float, float, float]:
    """P(A >= seen), P(A = seen), P(A <= seen) over every split of every stratum, in rational numbers."""
    y1, t1, y0, t0 = data
    totals = [one + zero for one, zero in zip(y1, y0, strict=True)]
    over = point = under = whole = Fraction(0)
    for split in itertools.product(*(range(total + 1) for total in totals)):
        weight = Fraction(1)
        for k, n, h1, h0 in zip(split, totals, t1, t0, strict=True):
            weight *= math.comb(n, k) * Fraction(h1 * ratio) ** k * Fraction(h0) ** (n - k)
        whole += weight
        over += weight * (sum(split) >= sum(y1))
        point += weight * (sum(split) == sum(y1))
        under += weight * (sum(split) <= sum(y1))
    return float(over / whole), float(point / whole), float(under / whole)


@pytest.mark.parametrize("data", STRATA)
def test_exact_common_ratio_equals_listing_every_split(data: tuple[list, ...]) -> None:
    over, point, under = _tails_by_listing(data, 1.0)
    exact = strata.exact_common_ratio(*data, method="exact")
    mid_p = strata.exact_common_ratio(*data, method="mid_p")
    assert exact.p_value == pytest.approx(min(1, 2 * min(over, under)), rel=1e-12)
    assert mid_p.p_value == pytest.approx(min(1, 2 * (min(over, under) - point / 2)), rel=1e-12)
    for found, half in ((exact, 0.0), (mid_p, 0.5)):
        at_lower, at_upper = (_tails_by_listing(data, limit) for limit in (found.lower, found.upper))
        assert at_lower[0] - half * at_lower[1] == pytest.approx(0.025, rel=1e-9)
        assert at_upper[2] - half * at_upper[1] == pytest.approx(0.025, rel=1e-9)


@pytest.mark.parametrize("method", ["exact", "mid_p"])
@pytest.mark.parametrize("events", [[3, 2, 0], [1, 0, 4], [5, 5, 1], [2, 0, 0]])
def test_trend_across_bands_equals_listing_every_arrangement(events: list[int], method: str) -> None:
    hours = [2.0, 1.0, 3.0]
    total, score = sum(events), events[1] + 2 * events[2]

    def tails(ratio: float) -> tuple[float, float, float]:
        weights: dict[int, float] = {}
        for a in range(total + 1):
            for b in range(total - a + 1):
                c = total - a - b
                ways = math.factorial(total) / (math.factorial(a) * math.factorial(b) * math.factorial(c))
                weight = ways * hours[0] ** a * hours[1] ** b * hours[2] ** c * ratio ** (b + 2 * c)
                weights[b + 2 * c] = weights.get(b + 2 * c, 0.0) + weight
        whole = math.fsum(weights.values())
        up = math.fsum(w for s, w in weights.items() if s >= score) / whole
        down = math.fsum(w for s, w in weights.items() if s <= score) / whole
        return up, weights[score] / whole, down

    found = trend.across_bands(events, hours, method=method)
    half = 0.5 if method == "mid_p" else 0.0
    up, point, down = tails(1.0)
    assert found.p_value == pytest.approx(min(1, 2 * (min(up, down) - half * point)), rel=1e-10)
    if found.lower > 0:
        up, point, _ = tails(found.lower)
        assert up - half * point == pytest.approx(0.025, rel=1e-8)
    if found.upper < math.inf:
        _, point, down = tails(found.upper)
        assert down - half * point == pytest.approx(0.025, rel=1e-8)


@pytest.mark.parametrize("method", ["exact", "mid_p"])
@pytest.mark.parametrize(("mean", "hours_ratio", "ratio"), [(6, 1.0, 0.5), (9, 0.4, 0.3), (4, 2.5, 2.0)])
def test_power_equals_trying_every_pair_of_counts(mean: float, hours_ratio: float, ratio: float, method: str) -> None:
    """Every pair of counts, its Poisson probability from SciPy, and the p-value of ``ratios.rate_ratio``."""
    mean1 = mean * hours_ratio * ratio
    one, zero = (grid.ravel() for grid in np.meshgrid(np.arange(90), np.arange(90), indexing="ij"))
    weight = stats.poisson.pmf(one, mean1) * stats.poisson.pmf(zero, mean)
    p_values = ratios.rate_ratio(one, np.full(one.size, hours_ratio), zero, np.ones(one.size), method=method).p_value
    rejected = p_values <= 0.05 + 1e-12
    expected = float(weight[rejected].sum())
    assert power.power(mean, hours_ratio, ratio, method=method) == pytest.approx(expected, abs=1e-12)


def test_reduction_probability_equals_integrating_two_gamma_densities() -> None:
    y1, t1, y0, t0, reduction = 5, 151_200.5, 14, 309_875.25, 0.3
    before = stats.gamma(y0 + 0.5, scale=1 / t0)
    after = stats.gamma(y1 + 0.5, scale=1 / t1)
    found, _ = integrate.quad(
        lambda u: float(after.cdf((1 - reduction) * before.ppf(u))), 0, 1, epsabs=1e-11, epsrel=1e-11
    )
    assert bayes.reduction_probability(y1, t1, y0, t0, reduction) == pytest.approx(found, abs=1e-8)


def test_adjusted_p_values_equal_scipys() -> None:
    rng = np.random.default_rng(RNG_SEED)
    for size in (1, 2, 7, 40):
        p_values = rng.uniform(size=size) ** 2
        assert np.allclose(
            multiplicity.benjamini_hochberg(p_values), stats.false_discovery_control(p_values), rtol=1e-13
        )


def _units() -> dict[str, np.ndarray]:
    rng = np.random.default_rng(RNG_SEED)
    units, quarters = np.repeat(np.arange(8), 16), np.tile(np.arange(16), 8)
    hours = rng.uniform(20_000, 60_000, units.size)
    exposed = (quarters >= 5 + units).astype(float)
    level = rng.gamma(1.5, 1 / 1.5, 8)[units]
    mean = hours * 12 / 200_000 * level * np.where(exposed == 1, 0.6, 1.0) * rng.gamma(4, 0.25, units.size)
    return {
        "events": rng.poisson(mean).astype(float),
        "hours": hours,
        "exposed": exposed,
        "units": units,
        "quarters": quarters,
    }


def test_poisson_model_equals_an_own_newton_iteration() -> None:
    """Maximum of the likelihood found by Newton steps written here, and its inverse information."""
    data = _units()
    found = models.poisson_ratio(
        data["events"],
        data["hours"],
        data["exposed"],
        factors={"unit": data["units"]},
        method="poisson",
        events_per_parameter=0,
    )
    x = np.column_stack([data["units"] == unit for unit in range(8)] + [data["exposed"]]).astype(float)
    beta = np.append(np.full(8, math.log(data["events"].sum() / data["hours"].sum())), 0.0)
    for _ in range(60):
        mean = data["hours"] * np.exp(x @ beta)
        information = x.T @ (x * mean[:, None])
        beta = beta + np.linalg.solve(information, x.T @ (data["events"] - mean))
    error = math.sqrt(np.linalg.inv(information)[-1, -1])
    assert found.estimate == pytest.approx(math.exp(beta[-1]), rel=1e-9)
    assert found.standard_error == pytest.approx(error, rel=1e-9)
    assert found.upper == pytest.approx(math.exp(beta[-1] + 1.959963984540054 * error), rel=1e-9)
    pearson = float(((data["events"] - mean) ** 2 / mean).sum()) / (x.shape[0] - 9)
    assert found.dispersion == pytest.approx(pearson, rel=1e-9)


def test_negative_binomial_equals_statsmodels_joint_likelihood() -> None:
    """statsmodels' NegativeBinomial maximises over the slopes and alpha together; here alpha is profiled."""
    from statsmodels.discrete.discrete_model import NegativeBinomial

    data = _units()
    found = models.poisson_ratio(
        data["events"],
        data["hours"],
        data["exposed"],
        covariates={"quarter": data["quarters"]},
        method="negative_binomial",
        events_per_parameter=0,
    )
    x = np.column_stack([np.ones(data["events"].size), data["quarters"] - 7.5, data["exposed"]])
    model = NegativeBinomial(data["events"], x, offset=np.log(data["hours"]))
    start = np.array([math.log(data["events"].sum() / data["hours"].sum()), 0.0, 0.0, 0.3])
    joint = model.fit(start_params=start, method="newton", maxiter=200, tol=1e-12, disp=False)
    assert found.method == "negative_binomial"
    assert math.log(found.estimate) == pytest.approx(joint.params[2], abs=1e-6)
    assert found.alpha == pytest.approx(joint.params[3], rel=1e-5)


def test_clustered_errors_equal_the_sandwich_written_out() -> None:
    """(X'WX)^-1 sum of squared cluster scores (X'WX)^-1, times G / (G - 1) (n - 1) / (n - k)."""
    data = _units()
    found = models.poisson_ratio(
        data["events"],
        data["hours"],
        data["exposed"],
        clusters=data["units"],
        method="cluster",
        fewest_clusters=2,
    )
    rates = [
        data["events"][data["exposed"] == side].sum() / data["hours"][data["exposed"] == side].sum() for side in (0, 1)
    ]
    mean = data["hours"] * np.where(data["exposed"] == 1, rates[1], rates[0])
    x = np.column_stack([np.ones(mean.size), data["exposed"]])
    bread = np.linalg.inv(x.T @ (x * mean[:, None]))
    scores = x * (data["events"] - mean)[:, None]
    sums = np.array([scores[data["units"] == unit].sum(axis=0) for unit in range(8)])
    factor = 8 / 7 * (mean.size - 1) / (mean.size - 2)
    error = math.sqrt((bread @ sums.T @ sums @ bread)[1, 1] * factor)
    assert found.estimate == pytest.approx(rates[1] / rates[0], rel=1e-9)
    assert found.standard_error == pytest.approx(error, rel=1e-7)
    assert found.upper == pytest.approx(found.estimate * math.exp(stats.t.ppf(0.975, 7) * error), rel=1e-7)


def test_interrupted_series_equals_an_own_fit() -> None:
    """Design written out as in Bernal 2017; likelihood maximised by SciPy, errors by numerical curvature."""
    rng = np.random.default_rng(RNG_SEED)
    n, start = 36, 20
    hours = rng.uniform(4e4, 6e4, n)
    month = np.arange(n)
    years, after = (month + 0.5 - start) / 12, month >= start
    true = np.log(12 / 2e5) - 0.05 * years + after * (-0.4 - 0.1 * years) + 0.2 * np.sin(month * math.pi / 6)
    events = rng.poisson(hours * np.exp(true)).astype(float)
    found = series.interrupted(events, hours, start, 12, harmonics=1)
    x = np.column_stack(
        [
            np.ones(n),
            years,
            after,
            years * after,
            np.sin(2 * math.pi * month / 12),
            np.cos(2 * math.pi * month / 12),
        ]
    )
    offset = np.log(hours)

    def loss(beta: np.ndarray) -> float:
        eta = x @ beta + offset
        return float((np.exp(eta) - events * eta).sum())

    def slope(beta: np.ndarray) -> np.ndarray:
        return np.asarray(x.T @ (np.exp(x @ beta + offset) - events))

    first = np.array([math.log(events.sum() / hours.sum()), 0, 0, 0, 0, 0])
    best = optimize.minimize(loss, first, jac=slope, method="BFGS", options={"gtol": 1e-9})
    beta = best.x
    mean = np.exp(x @ beta + offset)
    covariance = np.linalg.inv(x.T @ (x * mean[:, None]))
    phi = max(1.0, float(((events - mean) ** 2 / mean).sum()) / (n - 6))
    reach = stats.t.ppf(0.975, n - 6)
    assert found.level.estimate == pytest.approx(math.exp(beta[2]), rel=1e-6)
    error = math.sqrt(phi * covariance[2, 2])
    assert found.level.upper == pytest.approx(math.exp(beta[2] + reach * error), rel=1e-6)
    assert found.slope.estimate == pytest.approx(math.exp(beta[3]), rel=1e-6)
    without = x.copy()
    without[:, 2:4] = 0
    assert np.allclose(found.counterfactual_per_200k, np.exp(without @ beta) * 2e5, rtol=1e-6)
    band = reach * np.sqrt(phi * np.diag(without @ covariance @ without.T))
    assert np.allclose(found.counterfactual_upper, np.exp(without @ beta + band) * 2e5, rtol=1e-6)


def test_newey_west_errors_equal_the_formula_written_out() -> None:
    """Scores weighted by 1 - lag / (lags + 1), times n / (n - k) (Newey & West 1987)."""
    rng = np.random.default_rng(RNG_SEED)
    n, start, lags = 24, 12, 2
    hours = rng.uniform(4e4, 6e4, n)
    events = rng.poisson(hours * 20 / 2e5).astype(float)
    found = series.interrupted(events, hours, start, 12, harmonics=0, method="newey_west")
    years, after = (np.arange(n) + 0.5 - start) / 12, np.arange(n) >= start
    x = np.column_stack([np.ones(n), years, after, years * after]).astype(float)
    mean = found.fitted_per_200k * hours / 2e5
    scores = x * (events - mean)[:, None]
    meat = scores.T @ scores
    for lag in range(1, lags + 1):
        cross = scores[lag:].T @ scores[:-lag]
        meat += (1 - lag / (lags + 1)) * (cross + cross.T)
    bread = np.linalg.inv(x.T @ (x * mean[:, None]))
    error = math.sqrt((bread @ meat @ bread)[2, 2] * n / (n - 4))
    log_ratio = math.log(found.level.estimate)
    upper = math.exp(log_ratio + stats.t.ppf(0.975, n - 4) * error)
    assert found.level.upper == pytest.approx(upper, rel=1e-6)


def test_annual_change_equals_a_line_fitted_by_scipy() -> None:
    rng = np.random.default_rng(RNG_SEED)
    years = 2020 + np.arange(16) / 4
    hours = rng.uniform(1e5, 2e5, 16)
    events = rng.poisson(hours * 9 / 2e5 * 0.9 ** (years - 2020)).astype(float)
    found = trend.annual_change(events, hours, years)

    def score(slope: float) -> float:
        weights = hours * np.exp(slope * (years - 2020))
        return float((events * (years - 2020)).sum() - events.sum() * (weights * (years - 2020)).sum() / weights.sum())

    slope = optimize.brentq(score, -2, 2, xtol=1e-14)
    mean = hours * np.exp(slope * (years - 2020))
    mean *= events.sum() / mean.sum()
    centre = (mean * years).sum() / mean.sum()
    phi = max(1.0, float(((events - mean) ** 2 / mean).sum()) / 14)
    error = math.sqrt(phi / float((mean * (years - centre) ** 2).sum()))
    assert found.percent == pytest.approx(100 * (math.exp(slope) - 1), rel=1e-8)
    assert found.lower == pytest.approx(100 * math.expm1(slope - stats.t.ppf(0.975, 14) * error), rel=1e-8)


def test_worst_quarter_probabilities_equal_drawing_from_the_posteriors() -> None:
    events = [2, 7, 15, 4, 9, 3, 30, 6, 12, 1, 8, 19]
    hours = np.array([45, 80, 120, 60, 95, 70, 130, 75, 110, 30, 85, 125]) * 1e3
    found = shrinkage.gamma_poisson(events, hours)
    rng = np.random.default_rng(RNG_SEED)
    shape = np.array(events) + found.prior.shape
    drawn = rng.gamma(shape, 1 / (hours + found.prior.hours), (200_000, 12))
    among = np.argsort(np.argsort(-drawn, axis=1), axis=1) < 3
    share = among.mean(axis=0)
    assert np.abs(found.worst_quarter - share).max() < 5 * 0.5 / math.sqrt(200_000)
    assert found.worst_quarter.sum() == pytest.approx(3, abs=1e-6)


def test_regression_to_the_mean_foretells_the_next_period() -> None:
    """60 made-up facilities whose true unit rates never change: the worst quarter of the units, chosen
    by one period, "improves" in the next by what the function says, on average."""
    rng = np.random.default_rng(RNG_SEED)
    observed, foretold, seen = [], [], []
    hours = np.full(24, 80_000.0)
    for _ in range(60):
        true = rng.gamma(6, 12 / 6, 24)
        first, second = (rng.poisson(true * hours / 2e5) for _ in range(2))
        chosen = np.argsort(np.argsort(-first, kind="stable"), kind="stable") < 6
        result = shrinkage.regression_to_mean(first, hours, chosen)
        observed.append(result.observed_per_200k)
        foretold.append(result.expected_per_200k)
        seen.append(second[chosen].sum() * 2e5 / hours[chosen].sum())
    error = np.std(np.array(seen) - np.array(foretold)) / math.sqrt(60)
    assert abs(np.mean(seen) - np.mean(foretold)) < 4 * error + 0.2
    assert np.mean(seen) < 0.9 * np.mean(observed)
