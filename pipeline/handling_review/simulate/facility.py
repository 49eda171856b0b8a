"""One made-up facility: its files as frames, and the truth they were drawn from."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import polars as pl

from handling_review.simulate import details, surroundings
from handling_review.simulate.injuries import SERIES, Exposure, Injuries, injuries, quarter_label
from handling_review.simulate.mess import Edit, planted
from handling_review.simulate.people import (
    People,
    PersonPeriods,
    agency_hours,
    pay,
    people,
    person_periods,
)
from handling_review.simulate.plan import (
    AFTER,
    BASE_HOURS,
    BEFORE,
    FAR,
    HOURS_COURSE,
    JOBS,
    PHASES,
    QUALIFYING_COURSES,
    UNKNOWN,
    Plan,
)
from handling_review.simulate.training import Classes, Roster, classes, roster

TRUE_SERIES = ("handling", "non_handling")


@dataclass(frozen=True)
class Facility:
    """A made-up facility. Frames hold canonical columns and no mess; ``edits`` is the mess to be written in.

    ``truth`` holds plain values only (see ``sample_data/README.md`` for its parts). ``hours`` has no rows when the
    facility was simulated without its hours table.
    """

    plan: Plan
    incidents: pl.DataFrame
    hours: pl.DataFrame
    training: pl.DataFrame
    units: pl.DataFrame
    equipment: pl.DataFrame
    observations: pl.DataFrame
    exposure: pl.DataFrame
    events: pl.DataFrame
    annual_totals: pl.DataFrame
    reference_rates: pl.DataFrame
    truth: dict[str, Any]
    edits: tuple[Edit, ...] = ()


def simulate(plan: Plan, *, hours_table: bool = True) -> Facility:
    """A made-up facility with known truth.

    ``hours_table=False`` leaves the table of pay rows out (the truth is the same): for many facilities that are only
    counted, and for sizes at which the hours are written in blocks by ``write_hours``.
    """
    staff = people(plan)
    rows = person_periods(staff)
    done = classes(plan, staff)
    worked = np.concatenate([pay(plan, staff, rows, block).worked for block in range(rows.blocks)])
    exposed, found = injuries(plan, staff, rows, done, worked)
    log = details.log_rows(plan, staff, found)
    training = training_frame(plan, staff, roster(plan, staff, done))
    hours = hours_frame(plan, staff, rows, done, whole=hours_table)
    totals = surroundings.annual_totals(plan, log, exposed.hours.sum(axis=(0, 1)).tolist())
    incidents = log.select(details.columns())
    edits: tuple[Edit, ...] = ()
    truth = _truth(plan, exposed, found, log)
    if plan.mess:
        edits, truth["planted"] = planted(plan, log, hours, training, totals)
    return Facility(
        plan=plan,
        incidents=incidents,
        hours=hours,
        training=training,
        units=surroundings.units(plan),
        equipment=surroundings.equipment(plan),
        observations=surroundings.observations(plan),
        exposure=surroundings.exposure(plan),
        events=surroundings.diary(plan),
        annual_totals=totals,
        reference_rates=surroundings.reference_rates(),
        truth=truth,
        edits=edits,
    )


def id_texts(staff: People) -> pl.Series:
    """Ids as the payroll writes them: six digits with leading zeros."""
    return pl.Series(staff.ids).cast(pl.String).str.zfill(6)


def training_frame(plan: Plan, staff: People, rows: Roster) -> pl.DataFrame:
    """Training rows in canonical columns. Qualifying completions run out two years later."""
    day = np.datetime64(plan.first_period, "D") + rows.day.astype("timedelta64[D]")
    frame = pl.DataFrame(
        {
            "employee_id": id_texts(staff).gather(rows.person),
            "course": rows.course,
            "completed_on": pl.Series(day),
            "status": rows.status,
            "kind": rows.kind,
            "competency": rows.competency,
        }
    )
    counts = pl.col("course").is_in(QUALIFYING_COURSES) & pl.col("status").is_in(("completed", "passed"))
    expires = pl.when(counts).then(pl.col("completed_on").dt.offset_by("2y")).otherwise(None)
    return frame.select(
        "employee_id",
        "course",
        "completed_on",
        "status",
        expires.alias("expires_on"),
        "kind",
        pl.when(pl.col("competency") == "").then(None).otherwise("competency").alias("competency"),
    )


def hours_frame(plan: Plan, staff: People, rows: PersonPeriods, done: Classes, *, whole: bool = True) -> pl.DataFrame:
    """Pay rows in canonical columns, in order of period, unit and person. Classes are paid under EDU."""
    parts: dict[str, list[np.ndarray]] = {name: [] for name in ("stint", "period", "code", "hundredths")}
    codes = ("REG", "EDU", "OT", "OTP", "PTO", "SICK", "AGY")
    for block in range(rows.blocks if whole else 0):
        stint, period = rows.block(block)
        one = pay(plan, staff, rows, block)
        class_day = done.completed[staff.person[stint]]
        in_class = (class_day < FAR) & (class_day // plan.period_days == period)
        edu = np.where(in_class, np.minimum(int(HOURS_COURSE * 100), one.regular), 0)
        otp = np.where(one.premium_shown, one.overtime, 0)
        amounts = (one.regular - edu, edu, one.overtime, otp, one.leave, one.sick)
        for code, hundredths in enumerate(amounts):
            has = hundredths > 0
            for name, values in zip(parts, (stint, period, np.full(len(stint), code), hundredths), strict=True):
                parts[name].append(values[has])
    own = {name: np.concatenate([np.empty(0, dtype=np.int64), *values]) for name, values in parts.items()}
    agency = agency_hours(plan) if whole else np.zeros((len(plan.units), 0), dtype=np.int64)
    unit, period = np.nonzero(agency)
    frame = pl.DataFrame(
        {
            "employee_id": pl.concat(
                [id_texts(staff).gather(staff.person[own["stint"]]), pl.Series([None] * len(unit), dtype=pl.String)]
            ),
            "unit_code": np.concatenate([staff.unit[own["stint"]], unit]),
            "period": np.concatenate([own["period"], period]),
            "code": np.concatenate([own["code"], np.full(len(unit), codes.index("AGY"))]),
            "hours": np.concatenate([own["hundredths"], agency[unit, period]]) / 100,
            "role": pl.Series(JOBS).gather(np.concatenate([staff.job[own["stint"]], np.zeros(len(unit), dtype=int)])),
        }
    ).sort("period", "unit_code", "employee_id", "code", nulls_last=True)
    starts = pl.lit(plan.first_period) + pl.duration(days=pl.col("period") * plan.period_days)
    return frame.select(
        "employee_id",
        pl.Series([u.unit for u in plan.units]).gather(frame["unit_code"]).alias("unit"),
        starts.alias("period_start"),
        (starts + pl.duration(days=plan.period_days - 1)).alias("period_end"),
        "hours",
        "role",
        pl.Series(codes).gather(frame["code"]).alias("pay_code"),
        pl.when(pl.col("code") == codes.index("AGY"))
        .then(pl.lit("agency"))
        .otherwise(pl.lit("payroll"))
        .alias("source"),
    )


def _truth(plan: Plan, exposed: Exposure, found: Injuries, log: pl.DataFrame) -> dict[str, Any]:
    """The truth as plain values: what was expected, what happened, and what the log can show of it."""
    expected = exposed.expected.sum(axis=3)  # series, units, phases
    hours = exposed.hours.sum(axis=2)  # units, phases
    index = {name: SERIES.index(name) for name in TRUE_SERIES}
    happened = {name: _count(found.phase[found.series == i], len(PHASES)) for name, i in index.items()}
    return {
        "about": f"{plan.name} is made up. Every person, injury and hour was drawn by a program from the seed below.",
        "settings": _settings(plan),
        "series": {
            name: {
                "phases": {
                    phase: {
                        "hours": round(float(hours[:, p].sum()), 4),
                        "expected_events": round(float(expected[i, :, p].sum()), 6),
                        "events": int(happened[name][p]),
                    }
                    for p, phase in enumerate(PHASES)
                },
                "after_to_before_ratio": _ratio(expected[i].sum(axis=0), hours.sum(axis=0)),
            }
            for name, i in index.items()
        },
        "units": [
            {
                "unit": unit.unit,
                "hours": round(float(hours[u].sum()), 4),
                **{
                    name: {
                        "expected_events": round(float(expected[i, u].sum()), 6),
                        "expected_rate_per_200k_hours": _rate(expected[i, u].sum(), hours[u].sum()),
                        "events": int(((found.series == i) & (found.unit == u)).sum()),
                        "after_to_before_ratio": _ratio(expected[i, u], hours[u]),
                    }
                    for name, i in index.items()
                },
            }
            for u, unit in enumerate(plan.units)
        ],
        "quarters": [
            {
                "quarter": quarter_label(first),
                "hours": round(float(exposed.hours[:, :, q].sum()), 4),
                **{
                    f"{name}_expected": round(float(exposed.expected[i, :, :, q].sum()), 6) for name, i in index.items()
                },
            }
            for q, first in enumerate(exposed.quarters)
        ],
        "log": _log(log),
        "reported_after_the_export": len(found.series) - log.height,
        "planted": [],
    }


def _count(codes: np.ndarray, n: int) -> np.ndarray:
    return np.bincount(codes, minlength=n)


def _rate(events: float, hours: float) -> float | None:
    return round(float(events * BASE_HOURS / hours), 6) if hours > 0 else None


def _ratio(expected: np.ndarray, hours: np.ndarray) -> float | None:
    """Rate after over rate before, expected given the hours worked; none where a phase has no hours."""
    if hours[BEFORE] <= 0 or hours[AFTER] <= 0 or expected[BEFORE] <= 0:
        return None
    return round(float((expected[AFTER] / hours[AFTER]) / (expected[BEFORE] / hours[BEFORE])), 6)


def _log(log: pl.DataFrame) -> dict[str, Any]:
    """What the log shows by series and phase, with the rules for blank ids and undecided cases applied."""
    handling = pl.col("true_series") == "handling"
    recordable = pl.col("true_series").is_in(TRUE_SERIES)
    undecided = recordable & (pl.col("activity") == "unknown").fill_null(False)
    masks = {
        "handling": handling & ~undecided,
        "non_handling": recordable & ~handling & ~undecided,
        "recordable": recordable,
        "dart": pl.col("outcome").is_in(("days_away", "restricted_or_transfer")),
        "days_away": pl.col("outcome") == "days_away",
        "first_aid": pl.col("outcome") == "first_aid",
        "unclassified": undecided,
    }
    seen = log.with_columns(
        phase=pl.when(pl.col("employee_id").is_null()).then(UNKNOWN).otherwise(pl.col("true_phase"))
    )
    counted = {name: _count(seen.filter(mask)["phase"].to_numpy(), len(PHASES)) for name, mask in masks.items()}
    return {
        "rows": log.height,
        "events": {name: {phase: int(values[p]) for p, phase in enumerate(PHASES)} for name, values in counted.items()},
    }


def _settings(plan: Plan) -> dict[str, Any]:
    levels = plan.levels
    settings = asdict(plan)
    settings.pop("units")
    return {
        **{key: str(v) if hasattr(v, "isoformat") else v for key, v in settings.items()},
        "first_period_start": str(plan.first_period),
        "pay_periods": plan.periods,
        "as_of": str(plan.as_of),
        "washout_ratio": plan.ratios.washout,
        "recent_training_days": 365,
        "qualifying_courses": list(QUALIFYING_COURSES),
        "units": [
            {
                "unit": u.unit,
                "go_live": str(u.go_live) if u.go_live else None,
                "comparison": u.comparison,
                "level_by_job": {
                    job: round(float(level), 9)
                    for job, level, part in zip(JOBS, levels[i], u.job_mix, strict=True)
                    if part > 0
                },
            }
            for i, u in enumerate(plan.units)
        ],
        "agency_job": JOBS[0],
        "rule": (
            "intensity per hour = rate / 200,000 x level x (1 + trend) ^ (days since start / 365.25) x effect; the "
            "effect is 1 for non-handling injuries and for untrained or unknown staff, washout_ratio from the "
            "completion day, ratios.first_year for 365 days from the trained-from day or a refresher, else ratios.later"
        ),
    }
