"""How the charts did on made-up series with known truth: the committed simulation study, read back."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

from handling_review import files
from handling_review.evidence import numbers
from handling_review.evidence.control import Chart
from handling_review.evidence.numbers import Number

SHOWN = (2.0, 4.0, 8.0)  # cases expected a quarter, as units of different sizes have them
_BASELINE = 8  # quarters


@dataclass(frozen=True)
class ChartRow:
    """A chart of quarters, all three rules together, by the cases expected in a quarter.

    ``quarters_per_signal``: with nothing changing, quarters from one signal to the next. ``doubling_within_4`` and
    ``halving_within_4``: share of true changes that it shows within four quarters.
    """

    expected: Number
    quarters_per_signal: Number | None
    doubling_within_4: Number
    halving_within_4: Number


@dataclass(frozen=True)
class ChartStudy:
    """The rows that the page prints, and how many of this review's unit charts would show a signal for nothing.

    ``charts`` are the charts of units that are drawn, ``by_chance`` those of them that would show a signal in the
    latest two quarters if nothing had changed anywhere.
    """

    rows: tuple[ChartRow, ...]
    charts: Number
    by_chance: Number


@cache
def rows() -> tuple[dict[str, str], ...]:
    """The rows of the study as it is shipped."""
    return tuple(csv.DictReader(io.StringIO(files.read_text("reports", "chart_study.csv"))))


def gather(units: Sequence[Chart]) -> ChartStudy:
    """What the study says of charts of small, middling and larger units, and of the charts of these units."""
    drawn = [chart for chart in units if not chart.reason]
    return ChartStudy(
        rows=tuple(_row(expected) for expected in SHOWN),
        charts=numbers.count("unit_charts/facility", len(drawn), "charts"),
        by_chance=numbers.decimal(
            "unit_charts_by_chance/facility", math.fsum(_by_chance(chart) for chart in drawn), "charts"
        ),
    )


def _by_chance(chart: Chart) -> float:
    """Chance of a signal in the latest quarters, from the row of the study that is nearest to the chart."""
    kind = "days_between_nelson" if chart.kind == "days_between" else "u_quarterly"
    base = len(chart.baseline) if chart.points else sum(wait.in_baseline for wait in chart.waits)
    wanted = {"chart": kind, "truth": "steady", "centre": "estimated", "rule": "any"}
    known = [row for row in rows() if all(row[name] == value for name, value in wanted.items())]
    nearest = min(
        known,
        key=lambda row: (
            abs(math.log(float(row["expected_per_quarter"]) / max(chart.expected, 0.1))),
            abs(math.log(int(row["baseline_periods"]) / base)),
        ),
    )
    return float(nearest["share_marked_in_latest_2"])


def _row(expected: float) -> ChartRow:
    place = f"study/chart/{expected:g}"
    steady, doubled, halved = (_found(truth, expected) for truth in ("steady", "doubled", "halved"))
    between = steady["quarters_per_signal"]
    return ChartRow(
        expected=numbers.count(f"{place}/expected", int(expected)),
        quarters_per_signal=numbers.count(f"{place}/quarters_per_signal", round(float(between)), "quarters")
        if between
        else None,
        doubling_within_4=numbers.share(f"{place}/doubling_within_4", float(doubled["found_within_4"])),
        halving_within_4=numbers.share(f"{place}/halving_within_4", float(halved["found_within_4"])),
    )


def _found(truth: str, expected: float) -> dict[str, str]:
    wanted = {"chart": "u_quarterly", "truth": truth, "centre": "estimated", "rule": "any"}
    return next(
        row
        for row in rows()
        if all(row[name] == value for name, value in wanted.items())
        and float(row["expected_per_quarter"]) == expected
        and int(row["baseline_periods"]) == _BASELINE
    )
