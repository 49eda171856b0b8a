"""Is reporting holding up: the mix of first-aid, recordable and DART cases year by year."""

from __future__ import annotations

from dataclasses import dataclass

from handling_review.evidence import numbers
from handling_review.evidence.contrast import Estimate
from handling_review.evidence.numbers import Number
from handling_review.evidence.quarters import year_of
from handling_review.evidence.rates import total
from handling_review.evidence.tables import ResultTables
from handling_review.evidence.tally import PersonTime
from handling_review.program import Program
from handling_review.stats import proportions


@dataclass(frozen=True)
class MixYear:
    """Cases of one calendar year's complete quarters, and the share of recordables that were DART.

    ``dart_share`` is ``None`` in a year without recordable cases; its interval is Wilson's. ``unclassified`` are
    recordable cases of which the log does not say whether handling was the cause.
    """

    year: str
    quarters: int
    hours: Number
    first_aid: Number
    recordable: Number
    dart: Number
    days_away: Number
    dart_share: Estimate | None
    unclassified: Number
    unclassified_share: Number | None


@dataclass(frozen=True)
class ReportingEvidence:
    """The mix by year; ``asks_a_look`` when recordables fell while the share of DART cases rose."""

    years: tuple[MixYear, ...]
    asks_a_look: bool

    def whole_years(self) -> tuple[MixYear, ...]:
        """The years with four complete quarters."""
        return tuple(year for year in self.years if year.quarters == 4)


def gather(tables: ResultTables, complete: tuple[str, ...], program: Program) -> ReportingEvidence:
    """The mix of cases by calendar year over the complete quarters."""
    tallies = PersonTime(tables.person_time).by("quarter")
    years = []
    for year in sorted({year_of(quarter) for quarter in complete}):
        own = tuple(quarter for quarter in complete if year_of(quarter) == year)
        counts = {s: total(tallies, own, s) for s in ("first_aid", "recordable", "dart", "days_away")}
        recordable, dart = counts["recordable"].events, counts["dart"].events
        share = None
        undecided = int(tables.unclassified.loc[tables.unclassified["quarter"].isin(own), "events"].sum())
        if recordable:
            place = f"facility/{year}"
            found = proportions.wilson(dart, recordable, confidence=program.analysis.confidence)
            share = Estimate(
                numbers.share(f"dart_share/{place}", dart / recordable),
                numbers.share(f"dart_share_lower/{place}", float(found.lower)),
                numbers.share(f"dart_share_upper/{place}", float(found.upper)),
            )
        years.append(
            MixYear(
                year=year,
                quarters=len(own),
                hours=numbers.hours(f"hours/facility/{year}", counts["recordable"].hours),
                first_aid=numbers.count(f"cases/facility/{year}/first_aid", counts["first_aid"].events),
                recordable=numbers.count(f"cases/facility/{year}/recordable", recordable),
                dart=numbers.count(f"cases/facility/{year}/dart", dart),
                days_away=numbers.count(f"cases/facility/{year}/days_away", counts["days_away"].events),
                dart_share=share,
                unclassified=numbers.count(f"cases_unclassified/facility/{year}", undecided),
                unclassified_share=numbers.share(f"unclassified_share/facility/{year}", undecided / recordable)
                if recordable
                else None,
            )
        )
    return ReportingEvidence(tuple(years), _asks_a_look(tuple(years)))


def _asks_a_look(years: tuple[MixYear, ...]) -> bool:
    whole = [year for year in years if year.quarters == 4 and year.dart_share is not None]
    if len(whole) < 2:
        return False
    first, last = whole[-2], whole[-1]
    if first.dart_share is None or last.dart_share is None or not first.hours.value or not last.hours.value:
        return False
    fell = (last.recordable.value or 0) / last.hours.value < (first.recordable.value or 0) / first.hours.value
    return fell and (last.dart_share.value.value or 0) > (first.dart_share.value.value or 0)
