"""Late cases from a reporting lag that is seen only as far as the day of the export."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from statsmodels.duration.survfunc import SurvfuncRight

from handling_review.stats import nowcast


def curve_of(lags: np.ndarray, ages: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Lags seen, cases with each, and cases reported by then among those old enough."""
    seen = np.unique(lags)
    cases = np.array([(lags == u).sum() for u in seen], dtype=float)
    by_then = np.array([((lags <= u) & (ages >= u)).sum() for u in seen], dtype=float)
    return seen.astype(float), cases, by_then


def test_a_curve_by_hand() -> None:
    # lags 0, 0, 1, 3; everything is old enough: the share reported within u days is the plain share
    seen, cases, by_then = curve_of(np.array([0, 0, 1, 3]), np.array([50, 50, 50, 50]))
    assert by_then.tolist() == [2, 3, 4]
    assert nowcast.reported_within([0, 1, 2, 3, 9], seen, cases, by_then) == pytest.approx([0.5, 0.75, 0.75, 1, 1])


def test_a_case_too_young_to_be_late_counts_for_short_lags_only() -> None:
    # the fourth case is 1 day old: it could not have had a lag of 3
    seen, cases, by_then = curve_of(np.array([0, 1, 3, 0]), np.array([50, 50, 50, 1]))
    assert by_then.tolist() == [2, 3, 3]
    assert nowcast.reported_within([0, 1, 3], seen, cases, by_then) == pytest.approx([2 / 3 * 2 / 3, 2 / 3, 1])


@pytest.mark.parametrize("seed", range(5))
def test_the_curve_is_the_product_limit_estimate_in_reverse_time(seed: int) -> None:
    """Against statsmodels' SurvfuncRight with late entry: time runs backwards from the longest lag."""
    dice = np.random.default_rng(seed)
    ages = dice.integers(1, 90, 400)
    lags = dice.geometric(0.08, 400) - 1
    kept = lags <= ages
    lags, ages = lags[kept], ages[kept]
    seen, cases, by_then = curve_of(lags, ages)
    top = int(ages.max()) + 1
    reference = SurvfuncRight(top - lags, np.ones(lags.size), entry=top - ages - 1)
    at = dict(zip((top - reference.surv_times).tolist(), reference.surv_prob.tolist(), strict=True))
    for u, nearest in pairwise(seen):
        # surviving backwards past the next longer lag is having a lag of u or less
        assert nowcast.reported_within([u], seen, cases, by_then)[0] == pytest.approx(at[nearest], abs=1e-12)


def test_nothing_late_is_expected_beyond_the_longest_lag() -> None:
    found = nowcast.late_cases(7, np.arange(40, 130), [0, 1, 2], [5, 3, 2], [5, 8, 10])
    assert (found.share_reported, found.expected_late, found.lower_late, found.upper_late) == (1, 0, 0, 0)


def test_the_expected_number_is_by_the_share_reported() -> None:
    # half of the cases take 10 days; a period of one day, 5 days ago, holds the quick half
    found = nowcast.late_cases(6, [5], [0, 10], [50, 50], [50, 100])
    assert found.share_reported == pytest.approx(0.5)
    assert found.expected_late == pytest.approx(6)
    assert found.lower_late < 6 < found.upper_late


def test_the_range_holds_the_late_cases_as_often_as_it_says() -> None:
    """Simulated with known truth: 300 facilities, 12 cases a quarter, geometric lags of 20 days on average."""
    dice = np.random.default_rng(11)
    held, expected, truth = 0, 0.0, 0
    runs = 300
    for _ in range(runs):
        day = dice.integers(0, 720, dice.poisson(96))
        lag = dice.geometric(1 / 20, day.size) - 1
        age = 730 - day
        in_log = lag <= age
        latest = (day >= 630) & in_log
        late = int(((day >= 630) & ~in_log).sum())
        seen, cases, by_then = curve_of(lag[in_log], age[in_log])
        found = nowcast.late_cases(int(latest.sum()), 730 - np.arange(630, 720), seen, cases, by_then, draws=400)
        held += found.lower_late <= late <= found.upper_late
        expected, truth = expected + found.expected_late, truth + late
    assert held / runs >= 0.93
    assert expected == pytest.approx(truth, rel=0.12)


@pytest.mark.parametrize(
    ("lags", "cases", "by_then"),
    [([1, 0], [1, 1], [1, 2]), ([0, 1], [1, 3], [1, 2]), ([0], [1, 1], [1, 1]), ([0, 1], [1, -1], [1, 2])],
)
def test_a_curve_that_cannot_be_is_refused(lags: list[int], cases: list[int], by_then: list[int]) -> None:
    with pytest.raises(ValueError, match=r"lags|cases|reported_by_then"):
        nowcast.reported_within([3], lags, cases, by_then)


def test_a_period_of_which_nothing_can_be_known_is_refused() -> None:
    with pytest.raises(ValueError, match="old enough"):
        nowcast.late_cases(0, [0, 1], [3, 5], [1, 1], [1, 2])
