"""One facility's settings: every default in this one place, with its reason."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

FILE_NAMES = (
    "incidents",
    "hours",
    "training",
    "units",
    "equipment",
    "observations",
    "exposure",
    "events",
    "annual_totals",
    "reference_rates",
)
REQUIRED_FILES = ("incidents", "hours", "training")
SERIES = ("handling", "recordable", "dart", "days_away")
DESIGNS = (
    "strongest",
    "before_after",
    "negative_control",
    "comparison",
    "interrupted",
    "adjusted",
    "within_quarter",
    "staggered",
)
DATE_ORDERS = ("iso", "mdy", "dmy", "serial", "serial1904")
MOST_PROPOSALS = 20  # every set of so many is looked at
INSURED = ("self_insured", "premium_rated")
ENGINES = ("duckdb", "spark")
HOURS_AS = ("decimal", "hh:mm", "minutes", "days", "fte")
PERSON_TYPES = ("employee", "agency", "contractor", "volunteer", "student", "client", "visitor", "other")


@dataclass(frozen=True)
class Facility:
    """Who the review is about."""

    name: str = "Unnamed facility"  # printed as it stands, so that a forgotten name is seen
    naics: str = ""  # only used to pick reference rates; blank shows none
    note: str = ""  # one line under the name, for example that the data are made up


@dataclass(frozen=True)
class Period:
    """Which days the review covers. ``None`` is settled from the data and printed."""

    start: date | None = None  # first day of the first quarter that the hours file covers from its start
    end: date | None = None  # last day that both the log and the hours cover
    as_of: date | None = None  # the day the exports were taken; the day of the build if not given
    log_complete_through: date | None = None  # the end of the period if not given, and said so
    hours_complete_through: date | None = None  # last period end in the hours file if not given
    fiscal_year_start_month: int = 1  # calendar years, as on the posted annual summary


@dataclass(frozen=True)
class PayCodes:
    """Pay codes by what they mean for hours worked (29 CFR 1904: only hours actually worked count)."""

    worked: tuple[str, ...] = ()
    not_worked: tuple[str, ...] = ()
    premium_only: tuple[str, ...] = ()  # the same hours are already in another row


@dataclass(frozen=True)
class HoursRule:
    """How the hours file states hours."""

    written_as: str = "decimal"  # nothing is converted unless the facility says what its column holds
    hours_per_fte_year: int = 2000  # the base of the official rate: 100 people x 40 h x 50 weeks; payroll may use 2,080


@dataclass(frozen=True)
class Ids:
    """How employee ids are matched between files."""

    zero_pad: int = 0  # no padding: 123 and 00123 are two people unless the facility says otherwise


@dataclass(frozen=True)
class IncidentRule:
    """Whose injuries count."""

    person_types: tuple[str, ...] = ("employee", "agency")  # staff whom the facility supervises day to day


@dataclass(frozen=True)
class UnitChange:
    """A rename, merge or split of units; old and new are one unit throughout, so that like is compared with like."""

    on: date
    old: tuple[str, ...]
    new: tuple[str, ...]


@dataclass(frozen=True)
class Training:
    """What counts as trained in safe handling."""

    qualifying_courses: tuple[str, ...] = ()  # none given: every course counts, and the review says so
    qualifying_statuses: tuple[str, ...] = (
        "completed",
        "passed",
    )  # enrolled, failed, waived are not training
    washout_days: int = 30  # new habits take weeks to settle; published evaluations leave out about a month
    refresher_months: int | None = None  # no lapse unless the facility has a refresher rule
    minimum_match_share: float = 0.80  # below it, people without a training row are unknown, not untrained


@dataclass(frozen=True)
class Analysis:
    """The primary analysis, fixed before looking."""

    series: str = "handling"  # the injuries the programme is meant to prevent
    design: str = "strongest"  # a rule fixed beforehand: the strongest design that the hours can carry
    confidence: float = 0.95  # the usual level in the published evaluations
    target_reduction: float = 0.50  # the claim under test: programmes like this halve the rate


@dataclass(frozen=True)
class Charts:
    """Which quarters make the centre line of the control charts. ``None``: those before the program starts.

    The centre line is moved only by stating these days, once a change has lasted and its reason is known.
    """

    baseline_from: date | None = None
    baseline_through: date | None = None


@dataclass(frozen=True)
class Money:
    """What the money part rests on. Nothing is filled in for the facility: what is not stated is asked for."""

    currency: str = "USD"  # only printed
    year: int | None = None  # the year whose prices these are
    is_real: bool = True  # prices of one year throughout; the discount rates are then real rates too
    owner: str = ""  # who answers for these figures
    stated_on: date | None = None  # and since when
    cost_low: float | None = None  # cost of one case; all three, or none: then the facility's own claims are used
    cost_base: float | None = None
    cost_high: float | None = None
    claim_age_days: int = 365  # own claims count only when valued at least a year after the event
    indirect_multiplier: float = 0.0  # the ratios in use go back to one study of construction in 1981
    insured: str = "self_insured"  # premium_rated: savings come back through the premium, years later
    horizon_years: int = 5  # looked ahead where a proposal states no life
    wage_per_hour: float | None = None  # of an hour in class
    hours_per_completion: float | None = None
    materials_per_completion: float = 0.0
    other_costs: float = 0.0  # spent on the program besides classes, in all
    budget: float | None = None  # to be spent on proposals


@dataclass(frozen=True)
class Proposal:
    """One purchase that is proposed, with who says what it would do."""

    name: str
    unit: str
    equipment: str
    quantity: int
    unit_cost: float
    share_addressed: float  # share of the unit's handling injuries that it could prevent at all
    reduction_low: float  # share of those that it is expected to avoid
    reduction_base: float
    reduction_high: float
    source: str  # of the expected reduction
    owner: str
    stated_on: date
    yearly_service: float = 0.0  # for all pieces together
    life_years: int | None = None  # the horizon of [money] if not stated


@dataclass(frozen=True)
class Thresholds:
    """Small-number rules."""

    privacy_cell: int = 5  # cells of 1-4 are hidden in a copy for wide circulation; common practice, no source
    unreliable_below: int = 5  # fewer cases: counts and upper limit, no rate
    unstable_below: int = 16  # 16 cases give a standard error near a quarter of the rate
    largest_gap_days: int = 6  # a missing weekly pay period leaves a gap of 7 days or more
    handling_share_unclassified: float = 0.20  # above it the bounds lead, not the estimate
    hours_per_day: float = 24.0  # more in one day cannot have been worked
    hours_per_week: float = 120.0  # more in one week is looked at, not refused


@dataclass(frozen=True)
class Keeping:
    """How long the accepted rows of earlier reviews are kept, and what adds up person-time.

    The sums are the same whatever adds them up, so ``engine`` and ``master`` are no settings of the review.
    """

    keep_years: int = 5  # after the last year covered: how long the log is kept (29 CFR 1904.33)
    engine: str = "duckdb"  # enough for hundreds of millions of rows on one machine
    master: str = "local[*]"  # of Spark: all processors of this machine


@dataclass(frozen=True)
class Privacy:
    """Whether the database holds employee ids or pseudonyms made with a secret of the facility."""

    pseudonymise: bool = False  # ids stay readable for tracing unless the facility asks otherwise
    secret_file: str = ""  # beside the program file, named after it; a path of the machine is no setting of the review


@dataclass(frozen=True)
class Program:
    """One facility's settings, ready to use. Paths in ``files`` are absolute."""

    path: Path
    facility: Facility = field(default_factory=Facility)
    review: Period = field(default_factory=Period)
    files: Mapping[str, tuple[Path, ...]] = field(default_factory=dict)
    columns: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    dates: Mapping[str, str] = field(default_factory=dict)
    decimal_comma: Mapping[str, bool] = field(default_factory=dict)
    codes: Mapping[str, Mapping[str, Mapping[str, str]]] = field(default_factory=dict)
    unit_aliases: Mapping[str, str] = field(default_factory=dict)
    unit_changes: tuple[UnitChange, ...] = ()
    hours: HoursRule = field(default_factory=HoursRule)
    ids: Ids = field(default_factory=Ids)
    incidents: IncidentRule = field(default_factory=IncidentRule)
    pay_codes: PayCodes = field(default_factory=PayCodes)
    training: Training = field(default_factory=Training)
    jobs: Mapping[str, str] = field(default_factory=dict)
    analysis: Analysis = field(default_factory=Analysis)
    charts: Charts = field(default_factory=Charts)
    money: Money = field(default_factory=Money)
    proposals: tuple[Proposal, ...] = ()
    thresholds: Thresholds = field(default_factory=Thresholds)
    store: Keeping = field(default_factory=Keeping)
    privacy: Privacy = field(default_factory=Privacy)

    def settings(self) -> dict[str, Any]:
        """Every setting as plain values, with file names instead of machine paths."""
        plain = asdict(self)
        plain.pop("path")
        plain["store"] = {"keep_years": self.store.keep_years}
        plain["privacy"] = {"pseudonymise": self.privacy.pseudonymise}
        plain["files"] = {name: [p.name for p in paths] for name, paths in self.files.items()}
        plain["proposals"] = [{**asdict(one), "stated_on": one.stated_on.isoformat()} for one in self.proposals]
        plain["unit_changes"] = [{**asdict(change), "on": change.on.isoformat()} for change in self.unit_changes]
        for name in ("columns", "dates", "decimal_comma", "codes", "unit_aliases", "jobs"):
            plain[name] = json.loads(json.dumps(getattr(self, name)))
        return plain

    def settings_hash(self) -> str:
        """SHA-256 of the settings, the same on every machine."""
        text = json.dumps(self.settings(), sort_keys=True, default=str, ensure_ascii=False)
        return hashlib.sha256(text.encode("utf-8")).hexdigest()
