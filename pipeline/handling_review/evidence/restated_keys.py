"""Which published numbers speak of a fixed stretch of time, so that a later review can restate them.

Rates, cases and hours of a quarter or of the four quarters up to it, of the facility or a unit; hours by training
status; people, reports and audits of a quarter; the mix and the posted summary of a year. Not among them: whatever
covers "all quarters", compares, or comes from a model (it moves with each new quarter), and what repeats one of these
(chart points, months of the early warning, hours beside each kind of injury).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from urllib.parse import unquote

from handling_review.evidence.quarters import previous
from handling_review.evidence.tally import ALL_SERIES
from handling_review.evidence.training import STATUSES

CASES, HOURS, RATE, STATUS, PEOPLE, REPORTS, AUDITS, POSTED = (
    "cases", "hours", "rate", "status", "people", "reports", "audits", "posted",
)  # fmt: skip
_QUARTER = r"(?P<quarter>(?:FY)?\d{4}-Q[1-4])"
_PLACE = r"(?P<place>facility|unit:[^/]+)"
_SERIES = rf"(?P<series>{'|'.join(ALL_SERIES)})"
_STATUS = rf"(?P<series>{'|'.join(STATUSES)})"
_YEAR = r"(?P<year>(?:FY)?\d{4})"
_LIMITS = (
    *("rate_limit", "rate_lower", "rate_upper", "dart_share_lower", "dart_share_upper"),
    *("audit_share_lower", "audit_share_upper"),
)
_FORMS = tuple(
    (kind, re.compile(rf"^{form}$"))
    for kind, form in (
        (CASES, rf"(?P<family>cases)/{_PLACE}/(?P<four>four-quarters-to-)?{_QUARTER}/{_SERIES}"),
        (
            RATE,
            rf"(?P<family>rate|rate_limit|rate_lower|rate_upper)/{_PLACE}/(?P<four>four-quarters-to-)?{_QUARTER}/{_SERIES}",
        ),
        (HOURS, rf"(?P<family>hours)/{_PLACE}/{_QUARTER}"),
        (HOURS, rf"(?P<family>hours)/{_PLACE}/(?P<four>four-quarters-to-){_QUARTER}/recordable"),
        (STATUS, rf"(?P<family>hours|hours_share)/{_PLACE}/{_QUARTER}/{_STATUS}"),
        (PEOPLE, rf"(?P<family>people_with_hours|people_trained|people_lapsed)/{_PLACE}/{_QUARTER}"),
        (REPORTS, rf"(?P<family>lag_cases|lag_unknown|lag_median|lag_ninetieth|lag_slow)/{_PLACE}/{_QUARTER}"),
        (
            AUDITS,
            rf"(?P<family>audit_judged|audit_met|audit_not_applicable|audit_share|audit_share_lower|audit_share_upper)/{_PLACE}"
            rf"/{_QUARTER}",
        ),
        (CASES, rf"(?P<family>cases)/{_PLACE}/{_YEAR}/{_SERIES}"),
        (CASES, rf"(?P<family>cases_unclassified|unclassified_share)/{_PLACE}/{_YEAR}"),
        (CASES, rf"(?P<family>dart_share|dart_share_lower|dart_share_upper)/{_PLACE}/{_YEAR}"),
        (HOURS, rf"(?P<family>hours)/{_PLACE}/{_YEAR}"),
        (POSTED, r"(?P<family>posted|in_review|posted_gap)/(?P<calendar>\d{4})/(?P<series>[a-z_]+)"),
    )
)


@dataclass(frozen=True)
class FixedPeriod:
    """What a key speaks of. ``series``: the kind of injury, training status or posted figure.

    ``unit`` is None for the facility. The time is ``year`` (a year of complete quarters), ``calendar`` (a year of the
    posted summary), or the quarters.
    """

    kind: str
    family: str
    unit: str | None
    quarters: tuple[str, ...]
    year: str | None
    calendar: int | None
    series: str

    @property
    def is_limit(self) -> bool:
        """Whether it is one end of a range; it moves with its rate."""
        return self.family in _LIMITS

    @property
    def is_training(self) -> bool:
        """Whether it tells training apart, so that each new completion can move it."""
        return self.kind == STATUS or self.family in ("people_trained", "people_lapsed")

    @property
    def period(self) -> str:
        """The stretch of time in words."""
        if self.calendar is not None:
            return str(self.calendar)
        if self.year is not None:
            return self.year
        return self.quarters[0] if len(self.quarters) == 1 else f"four quarters to {self.quarters[-1]}"


def fixed_period(key: str) -> FixedPeriod | None:
    """What the key speaks of, or None where it speaks of no fixed stretch of time."""
    for kind, form in _FORMS:
        found = form.match(key)
        if found is None:
            continue
        told = found.groupdict()
        place = told.get("place") or "facility"
        quarter = told.get("quarter")
        steps = (3, 2, 1, 0) if told.get("four") else (0,)
        calendar = told.get("calendar")
        return FixedPeriod(
            kind=kind,
            family=told["family"],
            unit=unquote(place.removeprefix("unit:")) if place.startswith("unit:") else None,
            quarters=tuple(previous(quarter, step) for step in steps) if quarter else (),
            year=told.get("year"),
            calendar=int(calendar) if calendar else None,
            series=_series(told),
        )
    return None


def _series(told: dict[str, str | None]) -> str:
    family = told["family"] or ""
    if family.startswith("dart_share"):
        return "recordable"
    if family in ("cases_unclassified", "unclassified_share"):
        return "unclassified"
    return told.get("series") or ""
