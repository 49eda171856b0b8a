"""Small lookup tables that the SQL files read: the review's days, quarters, unit names, pay codes, training rules."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from handling_review.problems import DataProblem
from handling_review.program import Program
from handling_review.store.database import Store
from handling_review.store.trade import LIFTED_BY_HAND, SUITABLE_EQUIPMENT, TECHNIQUE_BANDS, TENURE_BANDS

MATURE_DAYS = 90  # late entries mostly arrive within a quarter; the last quarters are marked provisional
ACTIVE_DAYS = 60  # hours within so many days: still works here; common practice, no source
BANDS = (  # days since the first qualifying completion: sensitivity to the washout, and time since training
    ("before", None, -1),
    ("day 0", 0, 0),
    ("days 1-29", 1, 29),
    ("days 30-89", 30, 89),
    ("days 90-179", 90, 179),
    ("days 180-364", 180, 364),
    ("days 365-729", 365, 729),
    ("days 730 on", 730, None),
)
SERIES = ("handling", "non_handling", "recordable", "dart", "days_away", "first_aid")
_RAW_FIRST = "SELECT min(first_day) FROM work.slots"
_RAW_LAST = "SELECT max(last_day) FROM work.slots"


@dataclass(frozen=True)
class ReviewDays:
    """The days of one review, and which of them the facility stated."""

    start: date
    end: date
    as_of: date
    log_through: date
    hours_through: date
    log_through_stated: bool
    hours_through_stated: bool


def quarter_start(day: date, first_month: int) -> date:
    """First day of the quarter that holds ``day``, for years that start in ``first_month``."""
    back = (day.month - first_month) % 3
    month = day.month - back
    return date(day.year - (month < 1), month + 12 * (month < 1), 1)


def next_quarter(day: date) -> date:
    """First day of the quarter after the one that starts on ``day``."""
    month = day.month + 3
    return date(day.year + (month > 12), month - 12 * (month > 12), 1)


def quarter_label(start: date, first_month: int) -> str:
    """``2025-Q3``, or ``FY2026-Q1`` where the year does not start in January (named after the year it ends in)."""
    number = ((start.month - first_month) % 12) // 3 + 1
    if first_month == 1:
        return f"{start.year}-Q{number}"
    year = start.year + (1 if start.month >= first_month else 0)
    return f"FY{year}-Q{number}"


def review_days(program: Program, store: Store, as_of: date) -> ReviewDays:
    """Settle the days of the review from the program file and, where it is silent, from the hours file."""
    stated = program.review
    first_hours: date | None = store.scalar(_RAW_FIRST)
    last_hours: date | None = store.scalar(_RAW_LAST)
    if first_hours is None or last_hours is None:
        raise DataProblem("hours: no row has a day or period. Give period_start and period_end, or work_date.")
    hours_through = stated.hours_complete_through or min(last_hours, as_of)
    end = stated.end or min(hours_through, stated.log_complete_through or hours_through, as_of)
    if stated.start:
        start = stated.start
    else:
        start = quarter_start(first_hours, stated.fiscal_year_start_month)
        if first_hours - start > timedelta(days=program.thresholds.largest_gap_days):
            start = next_quarter(start)
    if start > end:
        raise DataProblem(
            f"The review would start on {start} and end on {end}: the hours file covers {first_hours} to {last_hours}. "
            "State start and end under [review] of the program file."
        )
    return ReviewDays(
        start=start,
        end=end,
        as_of=as_of,
        log_through=stated.log_complete_through or end,
        hours_through=hours_through,
        log_through_stated=stated.log_complete_through is not None,
        hours_through_stated=stated.hours_complete_through is not None,
    )


def quarters(days: ReviewDays, first_month: int) -> Iterator[tuple[str, date, date]]:
    """Label, first and last day of every quarter that the review touches."""
    start = quarter_start(days.start, first_month)
    while start <= days.end:
        following = next_quarter(start)
        yield quarter_label(start, first_month), start, following - timedelta(days=1)
        start = following


def fill_lookups(program: Program, store: Store, days: ReviewDays) -> None:
    """Create the lookup tables that hold no person: names of units, pay codes, training rules, quarters."""
    store.fill(
        "unit_names", [("unit_key", "VARCHAR"), ("unit", "VARCHAR"), ("rank", "INTEGER")], _unit_names(program, store)
    )
    codes = program.pay_codes
    meanings = {
        "worked": codes.worked,
        "not_worked": codes.not_worked,
        "premium_only": codes.premium_only,
    }
    store.fill(
        "pay_code_map",
        [("pay_code", "VARCHAR"), ("meaning", "VARCHAR")],
        [(_folded(code), meaning) for meaning, listed in meanings.items() for code in listed],
    )
    training = program.training
    store.fill("qualifying_courses", [("course", "VARCHAR")], _lowered(training.qualifying_courses))
    store.fill("qualifying_statuses", [("status", "VARCHAR")], _lowered(training.qualifying_statuses))
    store.fill("person_types", [("person_type", "VARCHAR")], [(p,) for p in sorted(program.incidents.person_types)])
    store.fill(
        "unit_changes",
        [("unit_key", "VARCHAR"), ("changed_on", "DATE"), ("side", "VARCHAR"), ("unit", "VARCHAR")],
        [
            (_folded(name), change.on, side, name)
            for change in program.unit_changes
            for side, listed in (("old", change.old), ("new", change.new))
            for name in listed
        ],
    )
    store.fill("bands", [("band", "VARCHAR"), ("from_days", "INTEGER"), ("to_days", "INTEGER")], BANDS)
    _fill_trade(program, store)
    store.fill("series", [("place", "INTEGER"), ("series", "VARCHAR")], list(enumerate(SERIES)))
    store.fill(
        "quarters",
        [("quarter", "VARCHAR"), ("quarter_start", "DATE"), ("quarter_end", "DATE")],
        quarters(days, program.review.fiscal_year_start_month),
    )


def _fill_trade(program: Program, store: Store) -> None:
    """The trade's lookups, and which job titles make one group."""
    store.fill(
        "technique_bands",
        [("activity", "VARCHAR"), ("from_share", "DOUBLE"), ("to_share", "DOUBLE")],
        TECHNIQUE_BANDS,
    )
    store.fill("lifted_by_hand", [("activity", "VARCHAR")], [(name,) for name in LIFTED_BY_HAND])
    store.fill(
        "suitable_equipment",
        [("activity", "VARCHAR"), ("equipment", "VARCHAR")],
        [(activity, name) for activity, listed in SUITABLE_EQUIPMENT.items() for name in listed],
    )
    store.fill("tenure_bands", [("tenure", "VARCHAR"), ("from_days", "INTEGER"), ("to_days", "INTEGER")], TENURE_BANDS)
    store.fill(
        "jobs",
        [("title", "VARCHAR"), ("job", "VARCHAR")],
        sorted({_folded(title): _folded(job) for title, job in program.jobs.items()}.items()),
    )


def fill_settings(program: Program, store: Store, days: ReviewDays, *, absent_is_unknown: bool) -> None:
    """Create the one-row table of settings. ``absent_is_unknown``: people without a training row are unknown."""
    rows = [
        ("review_start", "DATE", days.start),
        ("review_end", "DATE", days.end),
        ("as_of", "DATE", days.as_of),
        ("log_through", "DATE", days.log_through),
        ("hours_through", "DATE", days.hours_through),
        ("washout_days", "INTEGER", program.training.washout_days),
        ("refresher_months", "INTEGER", program.training.refresher_months),
        ("has_course_list", "BOOLEAN", bool(program.training.qualifying_courses)),
        ("absent_is_unknown", "BOOLEAN", absent_is_unknown),
        ("largest_gap_days", "INTEGER", program.thresholds.largest_gap_days),
        ("mature_days", "INTEGER", MATURE_DAYS),
        ("active_days", "INTEGER", ACTIVE_DAYS),
        ("claim_age_days", "INTEGER", program.money.claim_age_days),
        ("hours_per_day", "DOUBLE", program.thresholds.hours_per_day),
        ("hours_per_week", "DOUBLE", program.thresholds.hours_per_week),
        ("fte_hours_per_year", "INTEGER", _fte_hours(program)),
    ]
    store.fill("settings", [(name, kind) for name, kind, _ in rows], [[value for _, _, value in rows]])


def _lowered(words: tuple[str, ...]) -> list[tuple[str]]:
    return [(word,) for word in sorted({_folded(w) for w in words})]


def _folded(text: str) -> str:
    """Case and spacing as they are compared: what the program file says is tidied as the cells of the files are."""
    return " ".join(text.split()).lower()


def _fte_hours(program: Program) -> int | None:
    return program.hours.hours_per_fte_year if program.hours.written_as == "fte" else None


def _unit_names(program: Program, store: Store) -> list[tuple[str, str, int]]:
    """Spellings that stand for a unit: the program file's aliases before the units file's own names."""
    listed = store.frame("raw_units")
    own = {str(u).lower(): str(u) for u in listed["unit"]}
    joined = joined_units(program)

    def settled(unit: str) -> str:
        return joined.get(_folded(unit), own.get(_folded(unit), " ".join(unit.split())))

    found = [(_folded(key), settled(unit), 0) for key, unit in sorted(program.unit_aliases.items())]
    found += [(key, settled(key), 1) for key in sorted({*own, *joined})]
    for unit, aliases in zip(listed["unit"], listed["aliases"], strict=True):
        if isinstance(aliases, str):
            found += [(_folded(a), settled(str(unit)), 2) for a in aliases.split("|") if a.strip()]
    return found


def joined_units(program: Program) -> dict[str, str]:
    """Units that a rename, merge or split joins: folded name to the name that they go by as one unit.

    They are one unit for the whole review, before the change too, since rates of other groupings would not compare.
    """
    group: dict[str, frozenset[str]] = {}
    for change in program.unit_changes:
        members = frozenset(_folded(name) for name in (*change.old, *change.new))
        for name in tuple(members):
            members |= group.get(name, frozenset())
        for name in members:
            group[name] = members
    last: dict[frozenset[str], tuple[str, ...]] = {}
    for change in sorted(program.unit_changes, key=lambda one: one.on):
        last[group[_folded(change.new[0])]] = change.new
    return {name: " + ".join(last[members]) for name, members in group.items()}
