"""Series of cases with known truth, and what the control charts of the review say of them.

Every chart is asked by its own functions; the three rules are worked out for many series at once, and from the point on
with which a signal is complete, which ``charts.signals`` does not say.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import astuple, dataclass
from functools import cache
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy import special

from handling_review.stats import charts

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

SERIES, SEED = 2000, 1904
QUARTERLY, MONTHLY = "u_quarterly", "cusum_monthly"
LATEST = 2  # quarters that the review calls the latest
GAPS = {"days_between_nelson": "nelson", "days_between_exponential": "exponential"}
CHARTS = (QUARTERLY, MONTHLY, *GAPS)
TRUTHS = {"steady": 1.0, "doubled": 2.0, "halved": 0.5}
KNOWN, ESTIMATED = "known", "estimated"
OUTSIDE, RUN, TREND, ANY, WARNING = "outside", "run", "trend", "any", "warning"
EXPECTED = (0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0)  # cases a quarter
RARE = (0.5, 1.0, 2.0)  # those for which days between cases are asked
STEADY_QUARTERS = {8: 8, 4: 12}  # monitored, by the baseline
CHANGED_QUARTERS = 16
WITHIN = (2, 4, 8)  # quarters
UNITS, UNIT_EXPECTED = (1, 4, 8, 16, 32), (1.0, 2.0, 4.0, 8.0)
QUIET_MONTHS = 120.0  # run length in control that is asked for, all units together
QUARTER_DAYS = 365.25 / 4
TAILS = 2 * float(special.ndtr(-3.0))  # as ``charts.u_limits`` takes them
Rows = list[dict[str, str]]


@dataclass(frozen=True, order=True)
class Setting:
    """One question. ``baseline`` is in the periods of the chart: quarters, months, or waits from case to case.

    ``monitored`` is in quarters; ``None`` goes on until each series has warned.
    """

    chart: str
    truth: str
    centre: str
    baseline: int
    expected: float
    units: int
    monitored: int | None


@dataclass(frozen=True, eq=False)
class Heard:
    """What one rule says of each series in the monitored time.

    ``more`` and ``fewer``: quarters from the start of that time until a signal of more, or of fewer, cases is complete,
    infinite without one, shape (series,). ``flags``: monitored points that take part in a signal, found afterwards,
    shape (series, points). ``marked``: whether one of them lies in the latest two quarters, shape (series,).
    """

    more: Array
    fewer: Array
    flags: Flags
    marked: Flags

    def first(self, truth: str) -> Array:
        """Quarters to a signal that tells of the true change; with nothing changing, to any."""
        return {"doubled": self.more, "halved": self.fewer, "steady": np.minimum(self.more, self.fewer)}[truth]

    def onsets(self) -> int:
        """Flagged points whose previous point was not; one that reaches in from the baseline counts once."""
        return int(self.flags[:, 0].sum() + (self.flags[:, 1:] & ~self.flags[:, :-1]).sum())


def settings() -> Iterator[Setting]:
    """All questions of the study. The early warning is tuned to a doubling and not asked about a halving."""
    for truth in TRUTHS:
        quarters = STEADY_QUARTERS if truth == "steady" else dict.fromkeys(STEADY_QUARTERS, CHANGED_QUARTERS)
        for baseline, centre, expected in product(STEADY_QUARTERS, (ESTIMATED, KNOWN), EXPECTED):
            yield Setting(QUARTERLY, truth, centre, baseline, expected, 1, quarters[baseline])
            if truth != "halved":
                yield Setting(MONTHLY, truth, centre, 3 * baseline, expected, 1, quarters[baseline])
        for chart, baseline, expected in product(GAPS, (8, 16), RARE):
            yield Setting(chart, truth, ESTIMATED, baseline, expected, 1, quarters[8])
        if truth != "halved":
            yield from (Setting(MONTHLY, truth, KNOWN, 0, expected, 1, None) for expected in EXPECTED)
            for units, centre, expected in product(UNITS[1:], (ESTIMATED, KNOWN), UNIT_EXPECTED):
                yield Setting(MONTHLY, truth, centre, 24, expected, units, quarters[8])


def simulated(setting: Setting, series: int = SERIES, seed: int = SEED) -> dict[str, Heard]:
    """What each rule says of ``series`` facilities drawn for one setting."""
    place = (CHARTS.index(setting.chart), list(TRUTHS).index(setting.truth), setting.baseline)
    dice = np.random.default_rng([seed, *place, round(10 * setting.expected), setting.units, setting.monitored or 0])
    if setting.chart == QUARTERLY:
        return _quarterly(setting, series, dice)
    if setting.chart in GAPS:
        return _days_between(setting, series, dice)
    return _monthly(setting, series, dice) if setting.monitored else _until_warned(setting, series, dice)


def _counts(setting: Setting, series: int, dice: np.random.Generator, per_quarter: int) -> Array:
    """Cases by period, shape (series, periods), the change at the first monitored one."""
    mean = np.full(setting.baseline + (setting.monitored or 0) * per_quarter, setting.expected / per_quarter)
    mean[setting.baseline :] *= TRUTHS[setting.truth]
    return dice.poisson(mean, (series, mean.size)).astype(np.float64)


def _centres(setting: Setting, counts: Array, per_quarter: int) -> Array:
    if setting.centre == KNOWN:
        return np.full(len(counts), setting.expected / per_quarter)
    return np.asarray(counts[:, : setting.baseline].sum(axis=1) / setting.baseline)


def _quarterly(setting: Setting, series: int, dice: np.random.Generator) -> dict[str, Heard]:
    """The u-chart with equal hours, 200,000 a quarter, so that a count is a rate."""
    counts = _counts(setting, series, dice, 1)
    centre = _centres(setting, counts, 1)
    low, high = (limit[:, None] for limit in charts.probability_limits(centre, TAILS))
    outside = np.where(counts > high, 1, np.where(counts < low, -1, 0))
    when = np.arange(1.0, counts.shape[1] + 1) - setting.baseline
    last = float(setting.monitored or 0)
    return heard(counts, centre, outside, setting.baseline, np.broadcast_to(when, counts.shape), last)


def _days_between(setting: Setting, series: int, dice: np.random.Generator) -> dict[str, Heard]:
    """Exponential waits in whole days, as dates give them; the rate changes with the last case of the baseline.

    A wait still open is a signal as soon as it passes the upper limit, and a wait is too short only if a day more would
    be, as in the review.
    """
    b, quarters = setting.baseline, float(setting.monitored or 0)
    many = setting.expected * TRUTHS[setting.truth] * quarters
    points = b + int(many + 8 * np.sqrt(many) + 10)
    mean_days = np.full(points, QUARTER_DAYS / setting.expected)
    mean_days[b:] /= TRUTHS[setting.truth]
    first = dice.random((series, 1))  # hour of the day
    exact = first + np.cumsum(dice.exponential(mean_days, (series, points)), axis=1)
    dates = np.concatenate([np.zeros((series, 1)), np.floor(exact)], axis=1)
    days = np.diff(dates, axis=1)
    found = [charts.days_between(one, b, GAPS[setting.chart]) for one in days]
    centre, low, high = (np.array([getattr(limits, name) for limits in found]) for name in ("centre", "lower", "upper"))
    opened, closed = dates[:, :-1] - dates[:, b, None], dates[:, 1:] - dates[:, b, None]
    end = quarters * QUARTER_DAYS
    passed = opened + np.floor(high)[:, None] + 1  # the day on which an open wait is longer than the limit
    too_long = (days > high[:, None]) & (passed <= end)
    too_soon = (days + 1 < low[:, None]) & (closed <= end)
    # a long wait tells of fewer cases
    outside = np.where(too_long, -1, np.where(too_soon, 1, 0))
    values = np.where(closed <= end, days, np.nan)
    return heard(
        values, centre, outside, b, closed / QUARTER_DAYS, quarters,
        np.where(too_long, passed, closed) / QUARTER_DAYS, above=-1,
    )  # fmt: skip


def heard(
    values: Array,
    centre: Array,
    outside: NDArray[np.int_],
    baseline: int,
    when: Array,
    last: float,
    outside_when: Array | None = None,
    above: int = 1,
) -> dict[str, Heard]:
    """The three rules of ``charts.signals``, and all of them, for many series at once, by when they are complete.

    Args:
        values: points, shape (series, points); ``nan`` at the end is passed over. centre: shape (series,).
        outside: 1 where a point tells of more cases, -1 of fewer, else 0.
        baseline: points that only begin a signal. when: quarters at which a point is known. last: monitored quarters.
        outside_when: the same for points outside the limits. above: 1 if larger values mean more cases, else -1.
    """
    side = np.nan_to_num(np.sign(values - centre[:, None])) * above
    run_done, run_flags = stretches(side, charts.RUN_LENGTH)
    steps = np.zeros_like(values)
    steps[:, 1:] = np.nan_to_num(np.sign(np.diff(values, axis=1))) * above
    trend_done, into = stretches(steps, charts.TREND_LENGTH - 1)
    out_of, ahead = np.zeros_like(into), np.zeros(len(into), dtype=np.bool_)
    for j in range(into.shape[1] - 1, -1, -1):
        out_of[:, j] = ahead
        ahead = np.where(steps[:, j] != 0, into[:, j], ahead)
    kept = steps != 0
    kept[:, 0] = True
    found = {
        OUTSIDE: _heard(outside, outside != 0, baseline, when if outside_when is None else outside_when, last),
        RUN: _heard(run_done, run_flags, baseline, when, last),
        TREND: _heard(trend_done, into | (out_of & kept), baseline, when, last),
    }
    three = list(found.values())
    found[ANY] = Heard(
        np.min([one.more for one in three], axis=0),
        np.min([one.fewer for one in three], axis=0),
        np.any([one.flags for one in three], axis=0),
        np.any([one.marked for one in three], axis=0),
    )
    return found


def stretches(signs: Array, length: int) -> tuple[Array, Flags]:
    """Sign at each entry with which a stretch is long enough, and the entries of stretches that get there; 0 skips."""
    done, flags = np.zeros_like(signs), np.zeros(signs.shape, dtype=np.bool_)
    count, last = np.zeros(len(signs)), np.zeros(len(signs))
    for j in range(signs.shape[1]):
        sign = signs[:, j]
        count = np.where(sign == 0, count, np.where(sign == last, count + 1, 1))
        last = np.where(sign == 0, last, sign)
        done[:, j] = np.where(count >= length, sign, 0)
    ahead, long = np.zeros(len(signs)), np.zeros(len(signs), dtype=np.bool_)
    for j in range(signs.shape[1] - 1, -1, -1):
        sign = signs[:, j]
        begins = (sign != 0) & (sign != ahead)  # seen from behind
        long[begins] = done[begins, j] != 0
        ahead = np.where(sign == 0, ahead, sign)
        flags[:, j] = np.logical_and(long, sign != 0)
    return done, flags


def _heard(done: NDArray[np.int_] | Array, flags: Flags, baseline: int, when: Array, last: float) -> Heard:
    done, when, flags = done[:, baseline:], when[:, baseline:], flags[:, baseline:]
    more, fewer = (np.where(done == sign, when, np.inf).min(axis=1) for sign in (1, -1))
    return Heard(more, fewer, flags, (flags & (when > last - LATEST) & (when <= last)).any(axis=1))


@cache
def tuning(mean: float, quiet_months: float) -> charts.Cusum:
    """The early warning for a usual number of cases a month (200,000 hours each)."""
    return charts.poisson_cusum([0], [200_000], mean, 2.0, periods_between_false_alarms=quiet_months)


def running_sums(counts: Array, mean: Array, quiet_months: float) -> tuple[Array, Flags]:
    """Sums by month and whether they warn, as in ``charts.poisson_cusum``; without a case there is no warning."""
    kinds, place = np.unique(mean, return_inverse=True)
    reference = np.array([tuning(float(m), quiet_months).reference[0] if m else 0.0 for m in kinds])[place]
    height = np.array([tuning(float(m), quiet_months).threshold if m else np.inf for m in kinds])[place]
    sums, level = np.empty_like(counts), np.zeros(len(counts))
    for j in range(counts.shape[1]):
        sums[:, j] = level = np.maximum(0.0, level + counts[:, j] - reference)
    return sums, sums >= height[:, None] - 1e-9


def _monthly(setting: Setting, series: int, dice: np.random.Generator) -> dict[str, Heard]:
    """The early warning, its sum running from the first baseline month on, as in the review.

    With several units: whether any warns where nothing changes, else when the one that changes does.
    """
    many = series * (setting.units if setting.truth == "steady" else 1)
    counts = _counts(setting, many, dice, 3)
    by_unit = running_sums(counts, _centres(setting, counts, 3), QUIET_MONTHS * setting.units)[1]
    warns: Flags = np.logical_or.reduce(by_unit.reshape(series, -1, by_unit.shape[1]), axis=1)
    when = (np.arange(1.0, warns.shape[1] + 1) - setting.baseline) / 3
    last = float(setting.monitored or 0)
    return {WARNING: _heard(warns.astype(np.int_), warns, setting.baseline, np.broadcast_to(when, warns.shape), last)}


def _until_warned(setting: Setting, series: int, dice: np.random.Generator) -> dict[str, Heard]:
    """The early warning with the centre known, each series followed until it warns for the first time."""
    tuned = tuning(setting.expected / 3, QUIET_MONTHS)
    level, months = np.zeros(series), np.full(series, np.inf)
    month = 0
    while np.isinf(months).any():
        month += 1
        cases = dice.poisson(setting.expected / 3 * TRUTHS[setting.truth], series)
        level = np.maximum(0.0, level + cases - tuned.reference[0])
        months = np.where(np.isinf(months) & (level >= tuned.threshold - 1e-9), month, months)
    return {
        WARNING: Heard(
            months / 3, np.full(series, np.inf), np.zeros((series, 1), dtype=np.bool_), np.zeros(series, dtype=np.bool_)
        )
    }


def rows_of(setting: Setting, found: dict[str, Heard]) -> Rows:
    """One row a rule, ready for the csv."""
    return [_row(setting, rule, one) for rule, one in found.items()]


def _row(setting: Setting, rule: str, found: Heard) -> dict[str, str]:
    first, quarters = found.first(setting.truth), setting.monitored
    series, share, steady = first.size, float(np.isfinite(first).mean()), setting.truth == "steady"
    row = dict(zip(("chart", "truth", "centre", "baseline_periods"), map(str, astuple(setting)[:4]), strict=True))
    row |= {
        "expected_per_quarter": f"{setting.expected:g}",
        "units": str(setting.units),
        "rule": rule,
        "monitored_quarters": str(quarters or ""),
        "series": str(series),
        "share_signalled": f"{share:.4f}",
        "share_signalled_per_year": "",
        "quarters_per_signal": "",
        "share_marked_in_latest_2": "",
        **{f"found_within_{n}": "" for n in WITHIN},
        "median_delay_quarters": "",
    }
    if quarters is None:
        row["quarters_per_signal"] = f"{first.mean():.4f}"
    elif steady:
        row["share_signalled_per_year"] = f"{1 - (1 - share) ** (4 / quarters):.4f}"
        onsets = found.onsets()
        row["quarters_per_signal"] = f"{quarters * series / onsets:.4f}" if onsets else ""
        row["share_marked_in_latest_2"] = "" if rule == WARNING else f"{found.marked.mean():.4f}"
    if not steady:
        row |= {f"found_within_{n}": f"{(first <= n + 1e-9).mean():.4f}" for n in WITHIN}
        middle = float(np.median(first))
        row["median_delay_quarters"] = f"{middle:.4f}" if middle <= (quarters or np.inf) else ""
    return row
