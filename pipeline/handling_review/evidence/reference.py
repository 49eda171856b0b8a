"""Published rates of the facility's industry, to stand beside its own: all causes, all jobs."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from handling_review.evidence import numbers
from handling_review.evidence.numbers import Number, key_part
from handling_review.evidence.tables import ResultTables

BASE_HOURS = 200_000


@dataclass(frozen=True)
class ReferenceRate:
    """One published rate on the base of 200,000 hours."""

    naics: str
    ownership: str
    year: str
    series: str
    rate: Number
    source: str


@dataclass(frozen=True)
class ReferenceEvidence:
    """The published rates that fit the facility, each case type from the closest industry level that has one."""

    rates: tuple[ReferenceRate, ...]

    def of(self, series: str) -> tuple[ReferenceRate, ...]:
        """The published rates of one series; empty where none is known."""
        return tuple(rate for rate in self.rates if rate.series == series)

    def nearest(self, series: str) -> ReferenceRate | None:
        """The one to show first: private before other ownerships, then the latest year."""
        known = sorted(self.of(series), key=lambda r: (r.ownership == "private", r.year))
        return known[-1] if known else None


def gather(tables: ResultTables, naics: str) -> ReferenceEvidence:
    """The latest published rate per ownership for each case type, from the closest industry level.

    The facility's own code is tried first, then the broader industries above it (623110, 62311, 6231, 623,
    62). No code or no match gives no rates: nothing is borrowed from another industry.
    """
    frame, code = tables.reference_rates, naics.strip()
    found: list[ReferenceRate] = []
    for series in ("recordable", "dart", "days_away"):
        own = frame[frame["case_type"] == series]
        for length in range(len(code), 1, -1):
            level = own[own["naics"].astype(str) == code[:length]]
            if not level.empty:
                found += _latest(level)
                break
    return ReferenceEvidence(tuple(found))


def _latest(level: pd.DataFrame) -> list[ReferenceRate]:
    newest = level.assign(year=level["year"].astype(str)).sort_values(["ownership", "year"])
    newest = newest.drop_duplicates(["ownership"], keep="last")
    return [
        ReferenceRate(
            naics=str(row["naics"]),
            ownership=str(row["ownership"]),
            year=str(row["year"]),
            series=str(row["case_type"]),
            rate=numbers.rate(
                f"reference/{key_part(str(row['naics']))}/{row['ownership']}/{row['year']}/{row['case_type']}",
                float(row["rate"]) * BASE_HOURS / float(row["base_hours"]),
            ),
            source=str(row["source"]),
        )
        for row in newest.to_dict("records")
    ]
