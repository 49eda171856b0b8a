"""The rate by time since training, and what it says of the refresher interval."""

from __future__ import annotations

from dataclasses import dataclass

from handling_review.evidence import numbers
from handling_review.evidence.contrast import CANNOT_TELL, Estimate, direction_of, estimate
from handling_review.evidence.measure import Rate, measure
from handling_review.evidence.numbers import Number
from handling_review.evidence.strata_table import Strata
from handling_review.evidence.tally import Tally
from handling_review.program import Program
from handling_review.stats import trend

BANDS = (  # months since the first qualifying completion, and the day bands of the strata table that they hold
    ("0-3 months", ("day 0", "days 1-29", "days 30-89")),
    ("3-6 months", ("days 90-179",)),
    ("6-12 months", ("days 180-364",)),
    ("12-24 months", ("days 365-729",)),
    ("over 24 months", ("days 730 on",)),
)
LAPSED, UNTRAINED = "lapsed", "before training"


@dataclass(frozen=True)
class Band:
    """One span of time since training; the hours of lapsed training stand in a band of their own."""

    name: str
    rate: Rate


@dataclass(frozen=True)
class TimeBands:
    """Rates by time since training, the trend over the bands that are not lapsed, and where it points.

    ``step`` is the ratio of the rate from one band to the next (``None`` with hours in fewer than two bands or no
    case); ``direction`` is lower, higher or cannot_tell. ``refresher_months`` is the program file's interval.
    """

    series: str
    bands: tuple[Band, ...]
    lapsed: Band
    untrained: Band
    step: Estimate | None
    p_value: Number | None
    direction: str
    refresher_months: Number | None


def gather(strata: Strata, program: Program) -> TimeBands:
    """Bands of the primary series over the complete quarters. Agency hours without ids are in none of them."""
    series, frame = program.analysis.series, strata.frame
    months = program.training.refresher_months
    is_lapsed = frame["lapsed"].astype(bool)

    def band(name: str, rows: object) -> Band:
        part = frame[rows]
        tally = Tally(int(part[series].sum()), float(part["hours"].sum()))
        place = f"facility/since_training/{name.replace(' ', '_')}"
        return Band(name, measure(place, series, tally, program, hide_few=True))

    bands = tuple(band(name, frame["band"].isin(list(days)) & ~is_lapsed) for name, days in BANDS)
    step, p_value, direction = None, None, CANNOT_TELL
    events = [int(item.rate.events.value or 0) for item in bands]
    hours = [float(item.rate.hours.value or 0) for item in bands]
    # A case in a band in which nobody has hours (that person's were not recorded) has no rate to compare.
    all_have_hours = all(value > 0 or not cases for cases, value in zip(events, hours, strict=True))
    if len([value for value in hours if value > 0]) >= 2 and any(events) and all_have_hours:
        found = trend.across_bands(events, hours, program.analysis.confidence)
        end = f"facility/since_training/{series}"
        step = estimate(numbers.ratio, "step_ratio", end, found.estimate, found.lower, found.upper)
        p_value = numbers.p_value(f"p_value/{end}", found.p_value)
        direction = direction_of(found.lower, found.upper)
    return TimeBands(
        series=series,
        bands=bands,
        lapsed=band(LAPSED, is_lapsed),
        untrained=band(UNTRAINED, frame["phase"] == "before"),
        step=step,
        p_value=p_value,
        direction=direction,
        refresher_months=None if months is None else numbers.count("setting/refresher_months", months, "months"),
    )
