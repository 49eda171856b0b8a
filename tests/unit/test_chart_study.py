"""The committed study of the control charts: what it holds, that its rules are those of the charts, and its figures."""

from __future__ import annotations

import csv
import importlib
import io
import math
from collections.abc import Iterator
from itertools import product
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from scipy import stats

from handling_review import files
from handling_review.stats import charts

BENCH = Path(__file__).parents[1] / "bench"
KEYS = ("chart", "truth", "centre", "baseline_periods", "expected_per_quarter", "units", "rule")
COLUMNS = (
    *KEYS, "monitored_quarters", "series", "share_signalled", "share_signalled_per_year", "quarters_per_signal",
    "share_marked_in_latest_2", "found_within_2", "found_within_4", "found_within_8", "median_delay_quarters",
)  # fmt: skip
EXPECTED = ("0.5", "1", "2", "4", "8", "16", "32")
FEW = 200


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(str(BENCH))
    return importlib.import_module("watching")


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(str(BENCH))
    return importlib.import_module("watching_series")


def rows() -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(files.read_text("reports", "chart_study.csv"))))


def shipped() -> dict[tuple[str, ...], dict[str, str]]:
    return {tuple(row[key] for key in KEYS): row for row in rows()}


def wanted_keys() -> Iterator[tuple[str, ...]]:
    """What the study was to hold, written out from its plan and not from its code."""
    three, truths, centres = ("outside", "run", "trend", "any"), ("steady", "doubled", "halved"), ("known", "estimated")
    for truth, expected, rule in product(truths, EXPECTED, three):
        for centre, baseline in product(centres, ("4", "8")):
            yield ("u_quarterly", truth, centre, baseline, expected, "1", rule)
        for limits, waits in product(("nelson", "exponential"), ("8", "16")):
            if float(expected) <= 2:
                yield (f"days_between_{limits}", truth, "estimated", waits, expected, "1", rule)
    for truth, expected in product(truths[:2], EXPECTED):
        yield ("cusum_monthly", truth, "known", "0", expected, "1", "warning")
        for centre, months in product(centres, ("12", "24")):
            yield ("cusum_monthly", truth, centre, months, expected, "1", "warning")
        for centre, units in product(centres, ("4", "8", "16", "32")):
            if 1 <= float(expected) <= 8:
                yield ("cusum_monthly", truth, centre, "24", expected, units, "warning")


def test_every_setting_and_rule_is_there_once_with_two_thousand_series() -> None:
    assert sorted(shipped()) == sorted(wanted_keys())
    assert len(rows()) == len(shipped())
    assert all(tuple(row) == COLUMNS and row["series"] == "2000" for row in rows())


def test_columns_are_blank_only_where_they_do_not_apply() -> None:
    for row in rows():
        steady, long = row["truth"] == "steady", row["baseline_periods"] == "0"
        assert (row["monitored_quarters"] == "") == long
        assert (row["share_signalled_per_year"] != "") == (steady and not long)
        assert (row["share_marked_in_latest_2"] != "") == (steady and row["rule"] != "warning")
        assert all((row[f"found_within_{n}"] == "") == steady for n in (2, 4, 8))
        if not steady:
            assert (row["median_delay_quarters"] != "") == (float(row["share_signalled"]) >= 0.5), row
            within = [float(row[f"found_within_{n}"]) for n in (2, 4, 8)]
            assert within == sorted(within)
            assert within[-1] <= float(row["share_signalled"])


def test_a_share_a_year_is_that_of_the_monitored_time_spread_over_its_years() -> None:
    for row in rows():
        if row["share_signalled_per_year"]:
            kept = (1 - float(row["share_signalled_per_year"])) ** (float(row["monitored_quarters"]) / 4)
            assert kept == pytest.approx(1 - float(row["share_signalled"]), abs=5e-4)


def test_the_table_says_what_the_shipped_figures_say(bench: ModuleType) -> None:
    assert (BENCH / "WATCHING.md").read_text(encoding="utf-8") == bench.markdown(rows())


def test_the_same_seed_gives_the_same_series(drawn: ModuleType) -> None:
    setting = next(iter(drawn.settings()))
    first, again, other = (drawn.rows_of(setting, drawn.simulated(setting, FEW, seed)) for seed in (1, 1, 2))
    assert first == again
    assert first != other


def test_a_small_run_with_another_seed_agrees_with_the_shipped_shares(drawn: ModuleType) -> None:
    # Two binomial shares of 200 and of 2,000: within four standard errors of their difference, one in 16,000
    # is outside by chance alone (the normal curve). The continuity allowance is half a series of 200.
    stands, compared = shipped(), 0
    for setting in drawn.settings():
        if setting.monitored is None or (
            setting.chart == "cusum_monthly" and (setting.expected not in (2, 8) or setting.units > 8)
        ):
            continue
        for row in drawn.rows_of(setting, drawn.simulated(setting, FEW, 7)):
            kept = stands[tuple(row[key] for key in KEYS)]
            for column in ("share_signalled", *(f"found_within_{n}" for n in (2, 4, 8))):
                if kept[column]:
                    here, there = float(row[column]), float(kept[column])
                    pooled = (FEW * here + 2000 * there) / (FEW + 2000)
                    error = math.sqrt(pooled * (1 - pooled) * (1 / FEW + 1 / 2000))
                    assert abs(here - there) <= 4 * error + 0.5 / FEW, (setting, row["rule"], column)
                    compared += 1
    assert compared > 400


@pytest.mark.parametrize("expected", EXPECTED)
@pytest.mark.parametrize("quarters", [8, 12])
def test_false_alarms_with_the_centre_known_are_the_poisson_tails(expected: str, quarters: int) -> None:
    # scipy.stats.poisson: quantiles and tails, independent of the functions that draw the limits.
    mean, tail = float(expected), stats.norm.cdf(-3.0)
    law = stats.poisson(mean)
    alarm = law.cdf(law.ppf(tail) - 1) + law.sf(law.ppf(1 - tail))
    share = 1 - (1 - alarm) ** quarters
    row = shipped()["u_quarterly", "steady", "known", "8" if quarters == 8 else "4", expected, "1", "outside"]
    assert int(row["monitored_quarters"]) == quarters
    low, high = (float(stats.binom.ppf(q, 2000, share)) / 2000 for q in (5e-4, 1 - 5e-4))
    assert low <= float(row["share_signalled"]) <= high


@pytest.mark.parametrize("expected", EXPECTED)
@pytest.mark.parametrize("truth", ["steady", "doubled"])
def test_simulated_run_lengths_are_those_that_the_warning_states(drawn: ModuleType, truth: str, expected: str) -> None:
    # The stated one comes from a Markov chain (Brook & Evans 1972); the simulation only adds up cases.
    tuned = charts.poisson_cusum([0], [200_000], float(expected) / 3, 2.0, periods_between_false_alarms=120)
    stated = tuned.in_control_run_length if truth == "steady" else tuned.changed_run_length
    months = (
        3 * drawn.simulated(drawn.Setting("cusum_monthly", truth, "known", 0, float(expected), 1, None))["warning"].more
    )
    error = months.std(ddof=1) / math.sqrt(months.size)
    assert abs(months.mean() - stated) < 3 * error
    row = shipped()["cusum_monthly", truth, "known", "0", expected, "1", "warning"]
    assert abs(3 * float(row["quarters_per_signal"]) - stated) < 3 * error
    assert stated >= 120 or truth == "doubled"


def test_the_rules_for_many_series_are_those_of_the_charts(drawn: ModuleType) -> None:
    dice = np.random.default_rng(3)
    seen = np.zeros(3)
    # sorted stretches and small counts: long trends, ties, and points on the centre line all occur
    values = np.concatenate([dice.poisson(mean, (150, 20)) for mean in (0.4, 2, 9)]).astype(np.float64)
    values[::3, 4:14] = np.sort(values[::3, 4:14], axis=1)
    values[1::3, 6:16] = -np.sort(-values[1::3, 6:16], axis=1)
    values[::4, 17:] = np.nan
    centre = np.array([np.round(np.nanmean(series)) for series in values])
    limits = charts.probability_limits(centre, 0.05)
    low, high = (limit[:, None] for limit in limits)
    outside = np.where(values > high, 1, np.where(values < low, -1, 0))
    when = np.broadcast_to(np.arange(1.0, 21.0), values.shape)
    found = drawn.heard(values, centre, outside, 0, when, float(values.shape[1]))
    for i, series in enumerate(values):
        one = charts.signals(series, float(centre[i]), float(low[i, 0]), float(high[i, 0]))
        for place, rule in enumerate(("outside", "run", "trend")):
            flags = getattr(one, rule)
            assert np.array_equal(found[rule].flags[i], flags), (rule, series)
            seen[place] += flags.any()
    assert (seen > 20).all()


def test_a_signal_is_found_when_its_last_point_is_in(drawn: ModuleType) -> None:
    dice = np.random.default_rng(4)
    values = dice.poisson(3, (120, 20)).astype(np.float64)
    values[::2, 3:12] = np.sort(values[::2, 3:12], axis=1)
    values[1::2, 8:] += 3
    centre = np.full(120, 3.0)
    low, high = (float(limit[0]) for limit in charts.probability_limits([3.0], 0.0027))
    outside = np.where(values > high, 1, np.where(values < low, -1, 0))
    baseline, when = 8, np.broadcast_to(np.arange(1.0, 21.0) - 8, values.shape)
    found = drawn.heard(values, centre, outside, baseline, when, 12.0)
    for i, series in enumerate(values):
        for rule in ("outside", "run", "trend"):
            # the chart as it looked after each quarter: the first in which a monitored quarter is marked
            looked = [
                n - baseline
                for n in range(baseline + 1, 21)
                if getattr(charts.signals(series[:n], 3.0, low, high), rule)[baseline:].any()
            ]
            first = min(found[rule].more[i], found[rule].fewer[i])
            assert first == (looked[0] if looked else math.inf), (rule, series)


def test_the_limits_and_the_sums_are_those_of_the_charts(drawn: ModuleType) -> None:
    dice = np.random.default_rng(5)
    counts = dice.poisson(1.5, (40, 36)).astype(np.float64)
    mean = counts[:, :12].mean(axis=1)
    sums, warns = drawn.running_sums(counts, mean, 120.0)
    low, high = charts.probability_limits(mean, drawn.TAILS)
    hours = np.full(36, 200_000.0)
    for i, events in enumerate(counts):
        limits = charts.u_limits(events, hours, 12)
        assert (limits.lower[0], limits.upper[0]) == pytest.approx((low[i], high[i]))
        warning = charts.poisson_cusum(events, hours, float(mean[i]), 2.0, periods_between_false_alarms=120)
        assert sums[i] == pytest.approx(warning.statistic)
        assert np.array_equal(warns[i], warning.signal)


def test_more_cases_make_both_changes_easier_to_find_by_quarter() -> None:
    for truth in ("doubled", "halved"):
        keys = [("u_quarterly", truth, "estimated", "8", expected, "1", "any") for expected in EXPECTED[2:]]
        within = [float(shipped()[key]["found_within_8"]) for key in keys]
        assert within == sorted(within)
