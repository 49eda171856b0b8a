"""Signal or noise: a control chart of the quarters with a frozen baseline, and an early warning of a doubling."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from handling_review.evidence import numbers
from handling_review.evidence.numbers import Number
from handling_review.evidence.panel import Array
from handling_review.evidence.rates import Span
from handling_review.evidence.strata_table import Strata
from handling_review.program import Program
from handling_review.stats import charts

FEWEST_BASELINE = 4  # quarters; with fewer before the first start, all complete quarters make the centre line
FEWEST_CASES = 5  # in the baseline: fewer and the limits say nothing
DOUBLING = 2.0
SIMULATED, SEED = 1000, 1904  # series with nothing changing, drawn to see how often the chart speaks for nothing
OUTSIDE, RUN, TREND = "outside", "run", "trend"


@dataclass(frozen=True)
class ChartPoint:
    """One complete quarter: its rate, its limits, and the rules that it takes part in."""

    quarter: str
    rate: Number
    lower: Number
    upper: Number
    in_baseline: bool
    is_provisional: bool
    signals: tuple[str, ...]
    warning_sum: Number
    warns: bool


@dataclass(frozen=True)
class Watch:
    """The chart of the primary series, or the ``reason`` why there is none.

    ``before_start`` is true when the baseline is the quarters before the first start of a unit (frozen there); else it
    is all complete quarters. ``speaks_for_nothing`` is the share of made-up series with these hours and nothing
    changing in which the chart shows any signal. ``warning_at`` is the running sum, in cases, from which the early
    warning of a doubling speaks; ``quiet_quarters`` the average number of quarters to a false warning,
    ``found_after`` to a true one.
    """

    series: str
    points: tuple[ChartPoint, ...]
    centre: Number | None
    baseline: tuple[str, ...]
    before_start: bool
    speaks_for_nothing: Number | None
    warning_at: Number | None
    quiet_quarters: Number | None
    found_after: Number | None
    notes: tuple[str, ...]
    reason: str

    def with_signal(self, rule: str) -> tuple[str, ...]:
        """Quarters that take part in one kind of signal."""
        return tuple(point.quarter for point in self.points if rule in point.signals)

    @property
    def last_speaks(self) -> bool:
        """Whether the latest quarter takes part in any signal or warning."""
        return bool(self.points) and (bool(self.points[-1].signals) or self.points[-1].warns)


def gather(spans: Sequence[Span], strata: Strata, program: Program) -> Watch:
    """The chart over the complete quarters, in order."""
    series = program.analysis.series
    kept = [span for span in spans if span.is_complete and (span.of(series).hours.value or 0) > 0]
    nothing = Watch(series, (), None, (), False, None, None, None, None, (), "")
    if len(kept) < FEWEST_BASELINE:
        return _without(nothing, f"fewer than {FEWEST_BASELINE} complete quarters")
    events = np.array([float(span.of(series).events.value or 0) for span in kept])
    hours = np.array([float(span.of(series).hours.value or 0) for span in kept])
    first = min((strata.quarters[at] for at in strata.starts.values() if at > 0), default="")
    before = [span.quarter < first for span in kept] if first else [False] * len(kept)
    is_frozen = sum(before) >= FEWEST_BASELINE
    baseline = np.array(before) if is_frozen else np.ones(len(kept), dtype=bool)
    if events[baseline].sum() < FEWEST_CASES:
        return _without(nothing, f"fewer than {FEWEST_CASES} cases in the quarters that make the centre line")
    limits = charts.u_limits(events, hours, baseline)
    found = charts.signals(limits.rate_per_200k, limits.centre_per_200k, limits.lower, limits.upper)
    warning = charts.poisson_cusum(events, hours, limits.centre_per_200k, DOUBLING)
    flags = ((OUTSIDE, found.outside), (RUN, found.run), (TREND, found.trend))
    place = f"facility/chart/{series}"
    points = tuple(
        ChartPoint(
            quarter=span.quarter,
            rate=numbers.rate(f"chart_rate/{place}/{span.quarter}", float(limits.rate_per_200k[i])),
            lower=numbers.rate(f"chart_lower/{place}/{span.quarter}", float(limits.lower[i])),
            upper=numbers.rate(f"chart_upper/{place}/{span.quarter}", float(limits.upper[i])),
            in_baseline=bool(baseline[i]),
            is_provisional=span.is_provisional,
            signals=tuple(name for name, flag in flags if flag[i]),
            warning_sum=numbers.cases_avoided(f"warning_sum/{place}/{span.quarter}", float(warning.statistic[i])),
            warns=bool(warning.signal[i]),
        )
        for i, span in enumerate(kept)
    )
    return Watch(
        series=series,
        points=points,
        centre=numbers.rate(f"chart_centre/{place}", limits.centre_per_200k),
        baseline=tuple(span.quarter for span, flag in zip(kept, baseline.tolist(), strict=True) if flag),
        before_start=is_frozen,
        speaks_for_nothing=numbers.share(
            f"chart_false_signals/{place}", _false_signals(hours, baseline, limits.centre_per_200k)
        ),
        warning_at=numbers.cases_avoided(f"warning_at/{place}", warning.threshold),
        quiet_quarters=_quarters(f"warning_quiet/{place}", warning.in_control_run_length),
        found_after=_quarters(f"warning_found_after/{place}", warning.changed_run_length),
        notes=limits.notes,
        reason="",
    )


def _quarters(key: str, value: float) -> Number | None:
    return numbers.count(key, round(value), "quarters") if math.isfinite(value) else None


def _without(found: Watch, reason: str) -> Watch:
    return Watch(found.series, (), None, (), False, None, None, None, None, (), reason)


def _false_signals(hours: Array, baseline: Array, rate_per_200k: float) -> float:
    """Share of series drawn from one steady rate in which any of the three rules speaks; the centre is drawn too."""
    dice = np.random.default_rng(SEED)
    drawn = dice.poisson(rate_per_200k * hours / 200_000, (SIMULATED, hours.size)).astype(float)
    spoke = 0
    for events in drawn:
        if not events[baseline].sum():
            continue
        limits = charts.u_limits(events, hours, baseline)
        found = charts.signals(limits.rate_per_200k, limits.centre_per_200k, limits.lower, limits.upper)
        spoke += bool(found.outside.any() or found.run.any() or found.trend.any())
    return spoke / SIMULATED
