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
    """The published rates that fit the facility; ``naics`` is the industry they are for ("" if none)."""

    naics: str
    rates: tuple[ReferenceRate, ...]

    def of(self, series: str) -> tuple[ReferenceRate, ...]:
        """The published rates of one series; empty where none is known."""
        return tuple(rate for rate in self.rates if rate.series == series)


def gather(tables: ResultTables, naics: str) -> ReferenceEvidence:
    """The latest published rate per ownership and case type for the closest industry level.

    The facility's own code is tried first, then the broader industries above it (623110, 62311, 6231, 623,
    62). No code or no match gives no rates: nothing is borrowed from another industry.
    """
    frame = tables.reference_rates
    frame = frame[frame["case_type"].isin(["recordable", "dart", "days_away"])]
    code = naics.strip()
    for length in range(len(code), 1, -1):
        level = frame[frame["naics"].astype(str) == code[:length]]
        if not level.empty:
            return ReferenceEvidence(code[:length], _latest(level))
    return ReferenceEvidence("", ())


def _latest(level: pd.DataFrame) -> tuple[ReferenceRate, ...]:
    newest = level.assign(year=level["year"].astype(str)).sort_values(["case_type", "ownership", "year"])
    newest = newest.drop_duplicates(["case_type", "ownership"], keep="last")
    return tuple(
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
    )
