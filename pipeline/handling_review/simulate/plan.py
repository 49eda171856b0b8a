"""What a made-up facility is like: sizes, dates, true rates and the true effect of training."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from handling_review.problems import UsageProblem

BASE_HOURS = 200_000  # 100 full-time staff for a year, the base of 29 CFR 1904 rates
JOBS = ("Nurse aide", "Licensed practical nurse", "Registered nurse", "Therapist", "Therapy aide")
JOB_LEVELS = (1.30, 0.80, 0.70, 0.85, 1.20)  # aides are hurt more often per hour than nurses
NURSING = (0.60, 0.22, 0.18, 0.0, 0.0)
THERAPY = (0.0, 0.0, 0.0, 0.65, 0.35)
HOURS_COURSE = 7.5

HANDS_ON = "Safe handling, hands-on day"
REFRESHER = "Safe handling, refresher"
ONLINE = "Body mechanics, online module"
ORIENTATION = "New staff orientation"
PEER_LEADER = "Safe handling, peer leader"
QUALIFYING_COURSES = (HANDS_ON, REFRESHER)

PHASES = ("before", "washout", "after", "never", "unknown")
BEFORE, WASHOUT, AFTER, NEVER, UNKNOWN = range(5)
FAR = 2**30  # a day number after every other: "does not happen"


@dataclass(frozen=True)
class UnitPlan:
    """One made-up unit. ``level`` multiplies every injury rate; ``share`` is its part of all staff."""

    unit: str
    name: str
    care_type: str
    share: float
    level: float
    go_live: date | None = None  # none: no qualifying class is ever held
    comparison: bool = False
    job_mix: tuple[float, ...] = NURSING
    beds: int | None = None
    opened_on: date = date(2009, 9, 1)
    alias: str = ""  # another spelling in the injury log
    former_name: str = ""  # name in the payroll up to ``renamed_on``
    renamed_on: date | None = None


@dataclass(frozen=True)
class Rates:
    """True rates per 200,000 hours at the start, for the average planned member of staff, untrained."""

    handling: float = 11.0
    non_handling: float = 4.5
    handling_first_aid: float = 8.0
    other_first_aid: float = 6.0
    near_miss: float = 3.0


@dataclass(frozen=True)
class Ratios:
    """True effect on handling injuries, as a multiple of the untrained rate."""

    first_year: float = 0.50  # first 365 days from the trained-from day, or from a refresher
    later: float = 0.70  # after that, until a refresher

    @property
    def washout(self) -> float:
        """Halfway between untrained and newly trained: the new way of working is being learned."""
        return (1.0 + self.first_year) / 2


QUILLMERE_UNITS = (
    UnitPlan("Alder House", "Alder House, long-term care", "long-term care", 44, 1.00, date(2024, 2, 5), beds=48),
    UnitPlan("Birch House", "Birch House, long-term care", "long-term care", 40, 1.15, date(2024, 5, 6), beds=44),
    UnitPlan("Cedar Short Stay", "Cedar, short stay", "skilled nursing", 38, 0.85, date(2024, 8, 5), beds=32),
    UnitPlan(
        "Dogwood Memory Care",
        "Dogwood, memory care",
        "memory care",
        36,
        1.25,
        date(2024, 11, 4),
        beds=30,
        alias="Dogwood MC",
    ),
    UnitPlan(
        "Elm Skilled",
        "Elm, skilled nursing",
        "skilled nursing",
        34,
        0.95,
        date(2025, 2, 3),
        beds=28,
        former_name="Elm Sub-Acute",
        renamed_on=date(2023, 12, 31),
    ),
    UnitPlan("Fir Terrace", "Fir Terrace, assisted living", "assisted living", 28, 0.80, comparison=True, beds=36),
    UnitPlan("Therapy", "Therapy department", "therapy", 20, 0.70, date(2025, 6, 2), job_mix=THERAPY),
)


@dataclass(frozen=True)
class Plan:
    """Everything that decides a made-up facility; the same plan gives the same facility.

    The defaults are the sample, "Quillmere Care Campus". ``trend`` is the yearly change of every rate, applied
    day by day as ``(1 + trend) ** (days since start / 365.25)``. Periods of 14 days begin a week before ``start``,
    so that they run across the ends of quarters; people are hired, moved and leave at the start of a period.
    """

    seed: int = 2026
    units: tuple[UnitPlan, ...] = QUILLMERE_UNITS
    staff: int = 240  # posts; people follow each other in them
    start: date = date(2023, 1, 1)
    end: date = date(2026, 6, 30)
    rates: Rates = field(default_factory=Rates)
    ratios: Ratios = field(default_factory=Ratios)
    trend: float = -0.035
    washout_days: int = 30
    mess: bool = True
    name: str = "Quillmere Care Campus"
    naics: str = "623110"
    period_days: int = 14
    export_lag_days: int = 20  # from the end of the review to the day the exports are taken
    turnover_per_year: float = 0.30  # share of posts that change hands in a year
    transfers_per_year: float = 0.08  # moves a year between the nursing units that have classes
    agency_share: float = 0.06  # of planned hours in nursing units, without ids
    never_trained_share: float = 0.08  # of people in units with classes
    refresher_share: float = 0.55  # of trained people, each year

    def __post_init__(self) -> None:
        """Refuse a plan that cannot be carried out."""
        if self.seed < 0:
            raise UsageProblem(f"The seed must be 0 or more; found {self.seed}.")
        if self.start > self.end:
            raise UsageProblem(f"The plan starts on {self.start}, after its end on {self.end}.")
        if self.staff < len(self.units) or not self.units:
            raise UsageProblem(f"{self.staff} staff cannot fill {len(self.units)} units: give each at least one.")
        if self.washout_days < 0 or self.period_days < 1 or self.trend <= -1:
            raise UsageProblem("washout_days must be 0 or more, period_days 1 or more, trend above -1.")
        if any(rate < 0 for rate in vars(self.rates).values()):
            raise UsageProblem("A true rate cannot be negative.")

    @property
    def first_period(self) -> date:
        """First day of the first pay period."""
        return self.start - timedelta(days=min(7, self.period_days - 1))

    @property
    def periods(self) -> int:
        """Pay periods needed to cover every day up to ``end``."""
        return math.ceil(((self.end - self.first_period).days + 1) / self.period_days)

    @property
    def last_period_end(self) -> date:
        """Last day of the last pay period, on or after ``end``."""
        return self.first_period + timedelta(days=self.periods * self.period_days - 1)

    @property
    def as_of(self) -> date:
        """Day on which the exports are taken."""
        return self.end + timedelta(days=self.export_lag_days)

    def day(self, when: date) -> int:
        """Days from ``first_period``: the day number used throughout."""
        return (when - self.first_period).days

    def date_of(self, day: int) -> date:
        """The date of a day number."""
        return self.first_period + timedelta(days=day)

    @property
    def go_live_days(self) -> np.ndarray:
        """Day number of the first class of each unit; ``FAR`` where there is none. Shape (units,)."""
        return np.array([FAR if u.go_live is None else self.day(u.go_live) for u in self.units])

    @property
    def levels(self) -> np.ndarray:
        """Rate multiple of each unit and job, 1.0 on average over the planned posts. Shape (units, jobs)."""
        share = np.array([u.share for u in self.units], dtype=float)
        mix = np.array([u.job_mix for u in self.units])
        level = np.array([u.level for u in self.units])[:, None] * np.array(JOB_LEVELS)[None, :]
        mean = float((share[:, None] / share.sum() * mix * level).sum())
        found: np.ndarray = level / mean
        return found

    def generator(self, part: str, block: int = 0) -> np.random.Generator:
        """The random numbers of one part: parts do not disturb each other when one is changed."""
        return np.random.Generator(np.random.PCG64([self.seed, *part.encode("ascii"), block]))
