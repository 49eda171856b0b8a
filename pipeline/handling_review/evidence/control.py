"""The control chart of one place: rates by quarter, or the days between cases where cases are rare."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from handling_review.evidence import numbers
from handling_review.evidence.numbers import Number
from handling_review.evidence.panel import Array
from handling_review.stats import charts

FEWEST_BASELINE = 4  # quarters; common practice asks for more, and the chart says so
FEWEST_CASES = 5  # in the baseline: fewer and the limits say nothing
LATEST = 2  # complete quarters that count as "now"
OUTSIDE, RUN, TREND = "outside", "run", "trend"
MORE, FEWER = "more", "fewer"
BEFORE_START, STATED, ALL_BUT_LATEST, ALL = "before_start", "stated", "all_but_latest", "all"


@dataclass(frozen=True)
class Signal:
    """One rule that a point takes part in, and whether it tells of more injuries or of fewer."""

    rule: str
    direction: str


@dataclass(frozen=True)
class ChartPoint:
    """One complete quarter: cases, rate, limits, and the rules that it takes part in."""

    quarter: str
    events: Number
    rate: Number
    lower: Number
    upper: Number
    in_baseline: bool
    is_provisional: bool
    signals: tuple[Signal, ...]


@dataclass(frozen=True)
class Wait:
    """Days from one case to the next, or from the last one until now (``is_open``, in whole weeks): no case's day."""

    position: int
    quarter: str
    days: Number
    in_baseline: bool
    is_open: bool
    signals: tuple[Signal, ...]


@dataclass(frozen=True)
class Chart:
    """The chart of one place, or the ``reason`` why there is none.

    ``kind`` is poisson or laney (rates by quarter: ``points``), or days_between (``waits`` with one ``lower`` and
    ``upper`` for all). ``baseline`` are the quarters that make the centre line and ``baseline_rule`` is why they do:
    before_start (frozen there), stated (in the program file), all_but_latest, all. ``expected``: cases a quarter, by
    those quarters.
    """

    place: str
    name: str
    kind: str
    points: tuple[ChartPoint, ...] = ()
    waits: tuple[Wait, ...] = ()
    centre: Number | None = None
    lower: Number | None = None
    upper: Number | None = None
    baseline: tuple[str, ...] = ()
    baseline_rule: str = ""
    latest: tuple[str, ...] = ()
    expected: float = 0.0
    notes: tuple[str, ...] = ()
    reason: str = ""

    @property
    def marks(self) -> tuple[ChartPoint | Wait, ...]:
        """All points of the chart, of either kind."""
        return (*self.points, *self.waits)

    def with_signal(self, rule: str, direction: str) -> tuple[str, ...]:
        """Quarters that take part in one kind of signal, each once, in order."""
        wanted = Signal(rule, direction)
        return tuple(dict.fromkeys(p.quarter for p in self.marks if wanted in p.signals))

    def has_signal(self) -> bool:
        """Whether any point takes part in a signal."""
        return any(point.signals for point in self.marks)

    def now(self) -> tuple[Signal, ...]:
        """The signals that the latest quarters take part in."""
        return tuple(dict.fromkeys(s for p in self.marks if p.quarter in self.latest for s in p.signals))


@dataclass(frozen=True)
class Quarter:
    """What a chart is made of: cases and hours of one complete quarter, and whether it makes the centre line."""

    label: str
    events: int
    hours: float
    is_provisional: bool
    in_baseline: bool


def chart(place: str, name: str, series: str, quarters: Sequence[Quarter], rule: str, waits: pd.DataFrame) -> Chart:
    """The chart that suits the counts of one place.

    ``place`` is the start of its keys; ``waits`` are this place's rows of the table of waits, in order. Fewer than two
    cases expected a quarter call for days between cases.
    """
    kept = [quarter for quarter in quarters if quarter.hours > 0]
    latest = tuple(quarter.label for quarter in kept[-LATEST:])
    nothing = Chart(place, name, "", latest=latest, baseline_rule=rule)
    if len(kept) < FEWEST_BASELINE:
        return _without(nothing, f"fewer than {FEWEST_BASELINE} complete quarters")
    events = np.array([float(quarter.events) for quarter in kept])
    hours = np.array([quarter.hours for quarter in kept])
    baseline = np.array([quarter.in_baseline for quarter in kept])
    kind = charts.best_kind(events, hours, baseline)
    expected = float(events[baseline].mean())
    if kind == "days_between":
        return replace(_days_between(nothing, series, kept, waits), expected=expected)
    if events[baseline].sum() < FEWEST_CASES:
        return _without(nothing, f"fewer than {FEWEST_CASES} cases in the quarters that make the centre line")
    limits = charts.u_limits(events, hours, baseline, kind)
    rates = limits.rate_per_200k
    found = charts.signals(rates, limits.centre_per_200k, limits.lower, limits.upper)
    end = f"{place}/chart/{series}"
    points = tuple(
        ChartPoint(
            quarter=quarter.label,
            events=numbers.count(f"chart_cases/{end}/{quarter.label}", quarter.events),
            rate=numbers.rate(f"chart_rate/{end}/{quarter.label}", float(rates[i])),
            lower=numbers.rate(f"chart_lower/{end}/{quarter.label}", float(limits.lower[i])),
            upper=numbers.rate(f"chart_upper/{end}/{quarter.label}", float(limits.upper[i])),
            in_baseline=quarter.in_baseline,
            is_provisional=quarter.is_provisional,
            signals=_signals(found, i, rates, limits.centre_per_200k),
        )
        for i, quarter in enumerate(kept)
    )
    return Chart(
        place=place,
        name=name,
        kind=limits.kind,
        points=points,
        centre=numbers.rate(f"chart_centre/{end}", limits.centre_per_200k),
        baseline=tuple(quarter.label for quarter in kept if quarter.in_baseline),
        baseline_rule=rule,
        latest=latest,
        expected=expected,
        notes=limits.notes,
    )


def _without(found: Chart, reason: str) -> Chart:
    return Chart(found.place, found.name, "", latest=found.latest, baseline_rule=found.baseline_rule, reason=reason)


def _signals(found: charts.Signals, i: int, values: Array, centre: float, *, longer: str = MORE) -> tuple[Signal, ...]:
    """The rules that point ``i`` takes part in; ``longer`` is what a value above the centre tells of."""
    shorter = FEWER if longer == MORE else MORE
    side = longer if values[i] > centre else shorter
    signals = [Signal(name, side) for name, flags in ((OUTSIDE, found.outside), (RUN, found.run)) if flags[i]]
    if found.trend[i]:
        signals.append(Signal(TREND, longer if _rises(values, found.trend, i) else shorter))
    return tuple(signals)


def _rises(values: Array, trend: charts.Flags, i: int) -> bool:
    """Whether a series in a trend rises at ``i``: by the step to its next point, at its end by the one before."""
    ahead = [at for at in range(i + 1, values.size) if trend[at]]
    behind = [at for at in range(i - 1, -1, -1) if trend[at]]
    steps = [values[at] - values[i] for at in ahead[:1]] + [values[i] - values[at] for at in behind]
    return next((bool(step > 0) for step in steps if step != 0), False)


def _days_between(nothing: Chart, series: str, kept: Sequence[Quarter], waits: pd.DataFrame) -> Chart:
    """Days between cases, with the wait since the last one as an open point at the end."""
    known = waits[waits["days"].notna()].sort_values("position")
    days = known["days"].to_numpy(dtype=np.float64)
    at = [str(quarter) for quarter in known["quarter"]]
    own = {quarter.label for quarter in kept if quarter.in_baseline}
    baseline = np.array([quarter in own for quarter in at], dtype=bool)
    rule = nothing.baseline_rule
    if baseline.sum() < FEWEST_CASES:
        baseline, rule = np.ones(days.size, dtype=bool), ALL
    if baseline.sum() < FEWEST_CASES or days[baseline].max() == 0:
        return _without(nothing, f"fewer than {FEWEST_CASES} waits from one case to the next")
    limits = charts.days_between(days, baseline)
    shortest = max(limits.lower - 1, 0.0)  # dates give whole days: only a wait that a day more would leave too short
    found = charts.signals(days, limits.centre, shortest, limits.upper)
    end = f"{nothing.place}/waits/{series}"
    points = [
        Wait(
            position=int(position),
            quarter=at[i],
            days=numbers.days(f"wait/{end}/{int(position)}", float(days[i])),
            in_baseline=bool(baseline[i]),
            is_open=False,
            signals=_signals(found, i, days, limits.centre, longer=FEWER),
        )
        for i, position in enumerate(known["position"])
    ]
    since = float(waits["days_since"].iloc[0])
    weeks = 7.0 * (since // 7)  # to the day it would give the day of the last case, and with the waits of every other
    points.append(
        Wait(
            position=points[-1].position + 1,
            quarter=kept[-1].label,
            days=numbers.days(f"wait/{end}/open", weeks),
            in_baseline=False,
            is_open=True,
            signals=(Signal(OUTSIDE, FEWER),) if since > limits.upper else (),
        )
    )
    return Chart(
        place=nothing.place,
        name=nothing.name,
        kind="days_between",
        waits=tuple(points),
        centre=numbers.days(f"wait_centre/{end}", limits.centre),
        lower=numbers.days(f"wait_lower/{end}", shortest),
        upper=numbers.days(f"wait_upper/{end}", limits.upper),
        baseline=tuple(dict.fromkeys(quarter for quarter, is_in in zip(at, baseline.tolist(), strict=True) if is_in)),
        baseline_rule=rule,
        latest=nothing.latest,
        notes=limits.notes,
    )
