"""A health system's results as flat tables, the unit of each figure in its column name."""

from __future__ import annotations

import pandas as pd

from handling_review.evidence.export_columns import Row, count, estimate_columns, rate_columns, value
from handling_review.evidence.system import PooledRatio, System


def system_frames(found: System) -> dict[str, pd.DataFrame]:
    """The frames behind the tables folder of a system's review, by file name without its ending."""
    level = f"{100 * found.confidence:g}"
    return {
        "pooled_ratios": pd.DataFrame([_pooled(row, level) for row in found.pooled]),
        "facilities": pd.DataFrame(_facilities(found, level)),
        "phases": pd.DataFrame(_phases(found)),
        "numbers": pd.DataFrame(
            [{"key": n.key, "value": n.value, "unit": n.unit, "shown": n.shown} for n in found.numbers]
        ),
    }


def _phases(found: System) -> list[Row]:
    return [
        {
            "facility": row.name,
            "phase": phase,
            "series": series,
            "cases": tally.events,
            "hours_worked": tally.hours,
        }
        for row in found.facilities
        for phase, series, tally in row.tallies
    ]


def _pooled(row: PooledRatio, level: str) -> Row:
    low, high = row.prediction or (None, None)
    return {
        "series": row.series,
        "facilities": count(row.facilities),
        "cases_after": count(row.cases_after),
        "hours_worked_after": value(row.hours_after),
        "cases_before": count(row.cases_before),
        "hours_worked_before": value(row.hours_before),
        **estimate_columns("average_rate_ratio", row.average, level),
        **estimate_columns("common_rate_ratio", row.common, level),
        f"further_facility_lower_{level}": value(low),
        f"further_facility_upper_{level}": value(high),
        "spread_of_log_ratio": value(row.spread),
        "p_one_ratio": value(row.same),
        "verdict": row.verdict,
    }


def _facilities(found: System, level: str) -> list[Row]:
    return [
        {
            "facility": row.name,
            "cases_after": count(row.change.now.events),
            "hours_worked_after": value(row.change.now.hours),
            "cases_before": count(row.change.then.events),
            "hours_worked_before": value(row.change.then.hours),
            **estimate_columns("rate_ratio", row.change.ratio, level),
            "verdict": row.change.verdict,
            **{f"whole_period_{name}": cell for name, cell in rate_columns(unit.overall, level).items()},
        }
        for row, unit in zip(found.facilities, found.units.rows, strict=True)
    ]
