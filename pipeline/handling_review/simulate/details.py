"""What the log says about each injury: plausible codes, days, delays and costs.

The shares below are invented for the sample (common practice at best, no source): they make a believable log and are
no evidence about any facility.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import polars as pl

from handling_review.simulate.injuries import HANDLING_SERIES, SERIES, Injuries
from handling_review.simulate.people import People
from handling_review.simulate.plan import AFTER, JOBS, Plan

# activity: (share of handling cases, usual share of effort supplied by staff in percent)
ACTIVITIES: Mapping[str, tuple[float, tuple[int, int]]] = {
    "reposition_in_bed": (0.24, (50, 100)),
    "stand_pivot": (0.14, (5, 45)),
    "squat_pivot": (0.11, (20, 60)),
    "two_person_lift": (0.10, (60, 100)),
    "lateral_transfer": (0.08, (70, 100)),
    "toileting": (0.11, (15, 70)),
    "mechanical_lift": (0.05, (70, 100)),
    "chair_reposition": (0.05, (30, 80)),
    "bathing": (0.04, (20, 70)),
    "ambulation_support": (0.03, (5, 40)),
    "floor_recovery": (0.03, (50, 100)),
    "limb_holding": (0.02, (80, 100)),
}
OTHER_EVENTS = {"slip_trip_fall": 0.34, "struck_or_caught": 0.24, "violence": 0.18, "exposure": 0.16, "other": 0.08}
EQUIPMENT_UNTRAINED = {"none": 0.52, "gait_belt": 0.30, "floor_lift": 0.08, "sit_to_stand_lift": 0.05, "other": 0.05}
EQUIPMENT_TRAINED = {
    "none": 0.24,
    "gait_belt": 0.30,
    "friction_reducing_sheet": 0.16,
    "sliding_board": 0.06,
    "sit_to_stand_lift": 0.10,
    "floor_lift": 0.06,
    "ceiling_lift": 0.08,
}
BODY_HANDLING = {"low back": 0.48, "shoulder": 0.22, "upper back": 0.10, "wrist": 0.09, "neck": 0.07, "knee": 0.04}
BODY_OTHER = {"knee": 0.22, "hand": 0.22, "ankle": 0.16, "head": 0.12, "forearm": 0.12, "low back": 0.10, "eye": 0.06}
NATURE = {
    "handling": {"sprain_strain": 0.74, "soreness_pain": 0.23, "other": 0.03},
    "slip_trip_fall": {"contusion": 0.45, "sprain_strain": 0.35, "fracture": 0.12, "cut": 0.08},
    "struck_or_caught": {"contusion": 0.55, "cut": 0.38, "fracture": 0.07},
    "violence": {"contusion": 0.60, "cut": 0.25, "sprain_strain": 0.15},
    "exposure": {"other": 1.0},
    "other": {"cut": 0.4, "contusion": 0.3, "other": 0.3},
}
OUTCOMES = {
    "handling": {"days_away": 0.44, "restricted_or_transfer": 0.32, "other_recordable": 0.24},
    "non_handling": {"days_away": 0.34, "restricted_or_transfer": 0.20, "other_recordable": 0.46},
    "handling_first_aid": {"first_aid": 1.0},
    "other_first_aid": {"first_aid": 1.0},
    "near_miss": {"near_miss": 1.0},
}
MEDIAN_COST = {"days_away": 9000.0, "restricted_or_transfer": 3200.0, "other_recordable": 750.0}
WHOLE_NUMBERS = ("helpers", "assist_share", "client_weight_lb")
HOURS = {str(hour): 3.0 if 6 <= hour < 11 else 2.0 if 11 <= hour < 22 else 1.0 for hour in range(24)}  # made up
UNDECIDED_SHARE = 0.03  # of recordable cases: the record does not say what was being done


def pick(random: np.random.Generator, shares: Mapping[str, float], n: int) -> np.ndarray:
    """``n`` words drawn by their shares."""
    words = np.array(list(shares), dtype=object)
    edges = np.cumsum(list(shares.values()))
    return np.asarray(words[np.searchsorted(edges[:-1] / edges[-1], random.random(n), side="right")])


def _by_group(random: np.random.Generator, group: np.ndarray, table: Mapping[str, Mapping[str, float]]) -> np.ndarray:
    """One word for each row from the table of its group."""
    found = np.full(len(group), None, dtype=object)
    for name, shares in table.items():
        mine = group == name
        found[mine] = pick(random, shares, int(mine.sum()))
    return found


def log_rows(plan: Plan, staff: People, found: Injuries) -> pl.DataFrame:
    """The injury log in canonical columns, with ``true_series`` and ``true_phase`` beside them, in order of event.

    Cases that reach the log after the day of export are left out, as they would be.
    """
    random = plan.generator("details")
    n = len(found.series)
    series = np.array(SERIES, dtype=object)[found.series]
    handles = np.isin(found.series, [SERIES.index(name) for name in HANDLING_SERIES])
    handles |= (series == "near_miss") & (random.random(n) < 0.6)
    outcome = _by_group(random, series, OUTCOMES)
    recordable = np.isin(outcome, list(MEDIAN_COST))
    lag = np.where(random.random(n) < 0.82, random.integers(0, 3, n), random.geometric(0.09, n) + 2)
    event = np.where(handles, "handling", pick(random, OTHER_EVENTS, n)).astype(object)
    privacy = recordable & (random.random(n) < 0.012)
    known = (found.person >= 0) & ~privacy
    ids = np.array([f"{i:06d}" for i in staff.ids], dtype=object)
    columns = {
        "employee_id": _blank_unless(known, ids[found.person]),
        "event_date": _dates(plan, found.day),
        "event_time": _times(plan.generator("times"), n),
        "reported_date": _dates(plan, found.day + lag),
        "unit": np.array([u.unit for u in plan.units], dtype=object)[found.unit],
        "job_title": np.array(JOBS, dtype=object)[found.job],
        "outcome": outcome,
        **_days(random, outcome),
        "case_type": np.where((event == "exposure") & (random.random(n) < 0.4), "respiratory", "injury"),
        **_circumstances(random, event, handles, recordable, found.phase == AFTER),
        "privacy_case": np.where(privacy, "yes", "no"),
        **_cost(plan, random, outcome),
        "true_series": series,
        "true_phase": found.phase,
    }
    whole = pl.DataFrame([_series(name, values) for name, values in columns.items()])
    logged = whole.filter(pl.col("reported_date") <= plan.as_of)
    return _numbered(logged)


def _series(name: str, values: np.ndarray) -> pl.Series:
    """A typed column, also when every value is blank."""
    if values.dtype != object:
        return pl.Series(name, values)
    kind = pl.Date if name == "cost_as_of" else pl.Int64 if name in WHOLE_NUMBERS else pl.String
    return pl.Series(name, values.tolist(), dtype=kind)


def _dates(plan: Plan, day: np.ndarray) -> np.ndarray:
    return np.asarray(np.datetime64(plan.first_period, "D") + day.astype("timedelta64[D]"))


def _times(random: np.random.Generator, n: int) -> np.ndarray:
    """Times of day in steps of five minutes, most by day; some were not given, a few stand at midnight for nothing."""
    hour = np.array([int(word) for word in pick(random, HOURS, n)])
    minute = random.integers(0, 12, n) * 5
    text = np.array([f"{h:02d}:{m:02d}" for h, m in zip(hour, minute, strict=True)], dtype=object)
    odd = random.random(n)
    return _blank_unless(odd >= 0.10, np.where(odd < 0.13, "00:00", text).astype(object))


def _numbered(rows: pl.DataFrame) -> pl.DataFrame:
    """Case numbers in order of event, from 001 again each January."""
    year = pl.col("event_date").dt.year()
    number = pl.int_range(1, pl.len() + 1).over(year).cast(pl.String).str.zfill(3)
    return rows.select(number.alias("case_number"), pl.all())


def _days(random: np.random.Generator, outcome: np.ndarray) -> dict[str, np.ndarray]:
    """Calendar days, together no more than 180 (29 CFR 1904.7(b)(3)(vii))."""
    n = len(outcome)
    away = np.rint(random.lognormal(2.2, 1.1, n)).clip(1, 170).astype(int)
    limited = np.rint(random.lognormal(2.6, 0.9, n)).clip(1, 170).astype(int)
    follows = random.random(n) < 0.35
    is_away, is_limited = outcome == "days_away", outcome == "restricted_or_transfer"
    days_away = np.where(is_away, away, 0)
    days_restricted = np.where(is_limited | (is_away & follows), limited, 0)
    return {"days_away": days_away, "days_restricted": np.minimum(days_restricted, 180 - days_away)}


def _circumstances(
    random: np.random.Generator,
    event: np.ndarray,
    handles: np.ndarray,
    recordable: np.ndarray,
    trained: np.ndarray,
) -> dict[str, np.ndarray]:
    """Activity, equipment, helpers, effort and weight. ``handling_related`` is left blank for most, to be derived.

    An undecided case has no activity, an event that could be either, and nothing about the source.
    """
    n = len(event)
    activity = pick(random, {name: share for name, (share, _) in ACTIVITIES.items()}, n)
    low = np.array([ACTIVITIES[name][1][0] for name in activity], dtype=float)
    high = np.array([ACTIVITIES[name][1][1] for name in activity], dtype=float)
    share = np.rint((low + (high - low) * random.random(n)) / 5) * 5
    weight = np.rint(random.normal(172, 38, n).clip(88, 390))
    undecided = recordable & (random.random(n) < UNDECIDED_SHARE)
    no_activity = handles & ~undecided & (random.random(n) < 0.06)
    nature = _by_group(random, event, NATURE)
    body = np.where(handles, pick(random, BODY_HANDLING, n), pick(random, BODY_OTHER, n))
    marked = _blank_unless(random.random(n) < 0.12, np.where(handles, "yes", "no"))
    kind = np.where(random.random(n) < 0.9, "overexertion", "repetitive")
    taking_part = random.choice(np.array([1, 2, 3]), n, p=(0.62, 0.32, 0.06))
    taking_part = np.where(activity == "two_person_lift", np.maximum(taking_part, 2), taking_part)
    tools = np.where(trained, pick(random, EQUIPMENT_TRAINED, n), pick(random, EQUIPMENT_UNTRAINED, n))
    lifts = np.where(trained, pick(random, {"floor_lift": 0.6, "ceiling_lift": 0.4}, n), "floor_lift")
    tools = np.where(activity == "mechanical_lift", lifts, tools)
    gap = random.random((2, n)) < 0.22
    handled = handles & ~undecided
    said = np.where(handles, activity, "not_handling")
    said[undecided] = "unknown"
    return {
        "event_type": np.where(undecided, "unknown", np.where(handles, kind, event)).astype(object),
        "activity": _blank_unless(~no_activity, said),
        "handling_related": _blank_unless(~undecided & ~no_activity, marked),
        "source_person": _blank_unless(~undecided, np.where(handles | (event == "violence"), "yes", "no")),
        "body_part": body.astype(object),
        "nature": nature,
        "equipment_in_use": _blank_unless(handled, tools),
        "helpers": _blank_unless(handled, taking_part),
        "assist_share": _blank_unless(handled & ~gap[0], share.astype(int)),
        "client_weight_lb": _blank_unless(handled & ~gap[1], weight.astype(int)),
    }


def _blank_unless(shown: np.ndarray, values: np.ndarray) -> np.ndarray:
    """The values where ``shown`` holds, and nothing elsewhere."""
    found = values.astype(object)
    found[~shown] = None
    return found


def _cost(plan: Plan, random: np.random.Generator, outcome: np.ndarray) -> dict[str, np.ndarray]:
    """Incurred cost of most recordable cases, log-normal around a median by outcome."""
    n = len(outcome)
    median = np.array([MEDIAN_COST.get(o, 0.0) for o in outcome])
    cost = np.rint(median * random.lognormal(0.0, 0.8, n))
    has = (median > 0) & (random.random(n) < 0.88)
    money = _blank_unless(has, np.array([f"{c:.2f}" for c in cost], dtype=object))
    dated = np.full(n, None, dtype=object)
    dated[has] = plan.end
    return {"claim_cost": money, "cost_as_of": dated}


def columns() -> Sequence[str]:
    """Canonical columns of the injury log, in order."""
    return (
        "case_number",
        "employee_id",
        "event_date",
        "event_time",
        "reported_date",
        "unit",
        "job_title",
        "outcome",
        "days_away",
        "days_restricted",
        "case_type",
        "event_type",
        "activity",
        "handling_related",
        "source_person",
        "body_part",
        "nature",
        "equipment_in_use",
        "helpers",
        "assist_share",
        "client_weight_lb",
        "privacy_case",
        "claim_cost",
        "cost_as_of",
    )
