"""Did it work? The whole answer: the ladder, the other ways of asking, time, chance, and what is still needed."""

from __future__ import annotations

from dataclasses import dataclass

from handling_review.evidence import chance_fall, ladder, numbers, power_left, sensitivity, time_bands, unit_series
from handling_review.evidence.before_after import BeforeAfter
from handling_review.evidence.contrast import Contrast, Estimate, estimate
from handling_review.evidence.ladder import Ladder, Rung
from handling_review.evidence.numbers import Number
from handling_review.evidence.panel import ADJUSTED, STAGGERED, WITHIN
from handling_review.evidence.strata_table import Strata
from handling_review.evidence.tables import ResultTables
from handling_review.program import Program
from handling_review.stats import bounds

SET_ASIDE = "set_aside"
WITHIN_UNITS = (ADJUSTED, STAGGERED, WITHIN)  # designs that set each unit against itself, and time against time


@dataclass(frozen=True)
class DataBounds:
    """The before and after ratio with every row that could not be used or classified counted for and against.

    ``set_aside`` rows of the log have no known phase, so all of them are put on the one side, then on the other.
    ``None`` for the two ratios where there is no ratio at all.
    """

    set_aside: Number
    unclassified: Number
    most_favourable: Estimate | None
    least_favourable: Estimate | None


@dataclass(frozen=True)
class Answer:
    """Everything that bears on whether the program worked, for the primary series unless said otherwise.

    ``plain_ratio``: the leading design's two rates as they stand, one divided by the other, where the design sets them
    against each other in another way; ``None`` where it does not, or where a side has no hours or no case to divide by.
    """

    ladders: tuple[Ladder, ...]
    sensitivity: sensitivity.Sensitivity
    series: tuple[unit_series.StartSeries, ...]
    bands: time_bands.TimeBands
    chance: chance_fall.ChanceFall
    power: power_left.PowerLeft
    bounds: DataBounds
    starts_stated: bool
    plain_ratio: Number | None = None

    @property
    def ladder(self) -> Ladder:
        """The ladder of the primary series."""
        return self.ladders[0]


def gather(tables: ResultTables, strata: Strata, change: BeforeAfter, program: Program) -> Answer:
    """The answer over the complete quarters; the trained hours of the latest one are the present pace."""
    pace = float(change.trained_hours_last_quarter.value or 0)
    ladders = ladder.gather(strata, program)
    return Answer(
        ladders=ladders,
        sensitivity=sensitivity.gather(strata, ladders[0], tables, program),
        series=unit_series.gather(strata, program),
        bands=time_bands.gather(strata, program),
        chance=chance_fall.gather(strata, program),
        power=power_left.gather(ladders[0].lead, change.primary, pace, strata.complete, program),
        bounds=_bounds(tables, change, program),
        starts_stated=all(unit in strata.stated for unit in strata.starts),
        plain_ratio=_plain_ratio(ladders[0].lead),
    )


def _plain_ratio(lead: Rung) -> Number | None:
    now, then = (lead.now_events.value, lead.now_hours.value), (lead.then_events.value, lead.then_hours.value)
    if lead.design not in WITHIN_UNITS or lead.ratio is None or not (now[1] and then[0] and then[1]):
        return None
    value = ((now[0] or 0) / now[1]) / (then[0] / then[1])
    return numbers.ratio(f"plain_ratio/facility/{lead.design}/design/{lead.series}", value)


def _bounds(tables: ResultTables, change: BeforeAfter, program: Program) -> DataBounds:
    accounting = tables.accounting
    is_lost = (accounting["file"] == "incidents") & (accounting["kind"] == SET_ASIDE)
    lost = int(accounting.loc[is_lost, "rows"].sum())
    undecided = 0, 0
    if program.analysis.series == "handling":
        undecided = int(change.unclassified.cases_before.value or 0), int(change.unclassified.cases_after.value or 0)
    low = high = None
    item: Contrast = change.primary
    if item.ratio is not None:
        found = bounds.ratio_bounds(
            int(item.now.events.value or 0),
            float(item.now.hours.value or 0),
            int(item.then.events.value or 0),
            float(item.then.hours.value or 0),
            undecided[1] + lost,
            undecided[0] + lost,
            program.analysis.confidence,
        )
        end = f"facility/data_bounds/{item.series}"
        best, worst = found.most_favourable, found.least_favourable
        low = estimate(numbers.ratio, "ratio_best", end, best.estimate, best.lower, best.upper)
        high = estimate(numbers.ratio, "ratio_worst", end, worst.estimate, worst.lower, worst.upper)
    return DataBounds(
        set_aside=numbers.count("rows_set_aside/incidents", lost, "rows"),
        unclassified=numbers.count("cases_unclassified/facility", sum(undecided)),
        most_favourable=low,
        least_favourable=high,
    )
