"""The made-up facility against a plain day-by-day reading of its own files, and its draws against Poisson."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from handling_review.intake.contracts import contract
from handling_review.problems import ReviewProblem, UsageProblem
from handling_review.simulate import Plan, Rates, Ratios, plan_for_rows, simulate, write, write_hours
from handling_review.simulate.__main__ import main

SMALL = Plan(seed=5, staff=28, end=date(2025, 6, 30), turnover_per_year=0.8, transfers_per_year=0.6, mess=False)
WORKED = ("REG", "OT", "EDU", "AGY")
RECORDABLE = ("death", "days_away", "restricted_or_transfer", "other_recordable")
HANDLING = ("Safe handling, hands-on day", "Safe handling, refresher")
PHASES = ("before", "washout", "after", "never", "unknown")
SAMPLE = ("incidents", "hours", "training", "units", "equipment", "observations", "exposure", "events")


@cache
def quillmere() -> Any:
    return simulate(Plan())


def completions(training: pl.DataFrame) -> tuple[dict[str, date], dict[str, list[date]]]:
    """First qualifying completion and all refreshers of each person, read from the training table alone."""
    first: dict[str, date] = {}
    refreshed: dict[str, list[date]] = defaultdict(list)
    for row in training.iter_rows(named=True):
        if row["course"] in HANDLING and row["status"] in ("completed", "passed"):
            who, day = row["employee_id"], row["completed_on"]
            first[who] = min(first.get(who, day), day)
            if row["kind"] == "refresher":
                refreshed[who].append(day)
    return first, refreshed


def phase_on(day: date, who: str | None, first: dict[str, date], washout_days: int) -> str:
    if who is None:
        return "unknown"
    if who not in first:
        return "never"
    if day < first[who]:
        return "before"
    return "washout" if day < first[who] + timedelta(days=max(washout_days, 1)) else "after"


def day_by_day(facility: Any) -> tuple[dict[str, float], dict[tuple[str, str], float], dict[str, float]]:
    """Hours by phase, expected events by series and phase, hours by quarter: one day of one row at a time."""
    plan = facility.plan
    level = {u["unit"]: u["level_by_job"] for u in facility.truth["settings"]["units"]}
    first, refreshed = completions(facility.training)
    hours: dict[str, float] = defaultdict(float)
    expected: dict[tuple[str, str], float] = defaultdict(float)
    quarters: dict[str, float] = defaultdict(float)
    for row in facility.hours.iter_rows(named=True):
        if row["pay_code"] not in WORKED:
            continue
        for step in range(14):
            day = row["period_start"] + timedelta(days=step)
            assert day <= row["period_end"]
            if not plan.start <= day <= plan.end:
                continue
            who, time = row["employee_id"], row["hours"] / 14
            phase = phase_on(day, who, first, plan.washout_days)
            effect = 1.0
            if phase == "washout":
                effect = (1 + plan.ratios.first_year) / 2
            if phase == "after":
                since = [first[who] + timedelta(days=max(plan.washout_days, 1)), *refreshed[who]]
                recent = any(d <= day < d + timedelta(days=365) for d in since)
                effect = plan.ratios.first_year if recent else plan.ratios.later
            per_hour = level[row["unit"]][row["role"]] / 200_000 * 0.965 ** ((day - plan.start).days / 365.25)
            hours[phase] += time
            quarters[f"{day.year}-Q{(day.month + 2) // 3}"] += time
            expected["handling", phase] += time * per_hour * 11.0 * effect
            expected["non_handling", phase] += time * per_hour * 4.5
    return hours, expected, quarters


@pytest.mark.parametrize(
    "plan",
    [
        SMALL,
        replace(SMALL, washout_days=0),
        replace(SMALL, washout_days=90, seed=6, ratios=Ratios(first_year=0.4, later=0.9)),
    ],
    ids=["washout 30", "washout 0", "washout 90, other ratios"],
)
def test_truth_equals_a_day_by_day_reading_of_the_files(plan: Plan) -> None:
    facility = simulate(plan)
    hours, expected, quarters = day_by_day(facility)
    for series in ("handling", "non_handling"):
        truth = facility.truth["series"][series]
        for phase in PHASES:
            stated = truth["phases"][phase]
            assert stated["hours"] == pytest.approx(hours[phase], abs=0.001), phase
            assert stated["expected_events"] == pytest.approx(expected[series, phase], abs=2e-6), (series, phase)
        after = expected[series, "after"] / hours["after"]
        before = expected[series, "before"] / hours["before"]
        assert truth["after_to_before_ratio"] == pytest.approx(after / before, abs=2e-6)
    assert all(hours[phase] > 40 for phase in PHASES), "the plan must reach every phase to check it"
    assert {q["quarter"]: q["hours"] for q in facility.truth["quarters"]} == pytest.approx(quarters, abs=0.001)
    people_moved = facility.hours.drop_nulls("employee_id").group_by("employee_id").agg(pl.col("unit").n_unique())
    assert people_moved["unit"].max() == 2


def test_units_and_quarters_add_up_to_the_facility() -> None:
    truth = quillmere().truth
    for series in ("handling", "non_handling"):
        phases = truth["series"][series]["phases"].values()
        whole = sum(p["expected_events"] for p in phases)
        assert sum(u[series]["expected_events"] for u in truth["units"]) == pytest.approx(whole, abs=1e-4)
        assert sum(q[f"{series}_expected"] for q in truth["quarters"]) == pytest.approx(whole, abs=1e-4)
        assert sum(u[series]["events"] for u in truth["units"]) == sum(p["events"] for p in phases)
    hours = sum(p["hours"] for p in truth["series"]["handling"]["phases"].values())
    assert sum(u["hours"] for u in truth["units"]) == pytest.approx(hours, abs=0.01)


def test_the_log_counts_are_what_the_rules_find_in_the_log() -> None:
    """Handling is derived from activity, event type and source by the rule of the data dictionary."""
    facility = quillmere()
    first, _ = completions(facility.training)
    activities = contract("incidents").field("activity").enum
    handling_activities = set(activities) - {"not_handling", "unknown"}
    found: dict[str, dict[str, int]] = defaultdict(lambda: dict.fromkeys(PHASES, 0))
    for row in facility.incidents.iter_rows(named=True):
        phase = phase_on(row["event_date"], row["employee_id"], first, 30)
        outcome, derived = row["outcome"], row["handling_related"]
        if derived is None:
            strain = row["event_type"] in ("overexertion", "repetitive") and row["source_person"] == "yes"
            if row["activity"] in handling_activities or strain:
                derived = "yes"
            elif row["activity"] == "not_handling":
                derived = "no"
        if outcome in RECORDABLE:
            found["recordable"][phase] += 1
            kind = {"yes": "handling", "no": "non_handling", None: "unclassified"}[derived]
            found[kind][phase] += 1
            found["dart"][phase] += outcome in ("days_away", "restricted_or_transfer")
            found["days_away"][phase] += outcome == "days_away"
        found["first_aid"][phase] += outcome == "first_aid"
    assert dict(found) == facility.truth["log"]["events"]
    for phase in PHASES:
        parts = (found[kind][phase] for kind in ("handling", "non_handling", "unclassified"))
        assert sum(parts) == found["recordable"][phase]


def test_every_injured_person_worked_in_that_unit_that_day() -> None:
    facility = quillmere()
    worked = defaultdict(list)
    for row in facility.hours.filter(pl.col("pay_code").is_in(WORKED)).iter_rows(named=True):
        worked[row["employee_id"], row["unit"]].append((row["period_start"], row["period_end"], row["role"]))
    for row in facility.incidents.iter_rows(named=True):
        spans = worked[row["employee_id"], row["unit"]]
        if row["employee_id"] is None and row["privacy_case"] == "yes":
            continue
        assert any(a <= row["event_date"] <= b and role == row["job_title"] for a, b, role in spans)
        assert row["event_date"] <= row["reported_date"] <= facility.plan.as_of


def test_counts_scatter_around_their_expectation_as_poisson_counts_do() -> None:
    """Over many facilities the standardised counts have mean 0 and variance 1.

    Mean of n standardised counts: standard error 1 / sqrt(n). Their variance: standard error sqrt((2 + 1/mu) / n), from
    the fourth central moment of a Poisson count, 3 mu^2 + mu (Johnson, Kemp & Kotz, Univariate Discrete
    Distributions, section 4.3; from memory). Four standard errors are allowed.
    """
    n = 120
    scores = defaultdict(list)
    means = defaultdict(list)
    for seed in range(n):
        truth = simulate(Plan(seed=seed, mess=False), hours_table=False).truth
        for series in ("handling", "non_handling"):
            for phase in ("before", "after", "never"):
                cell = truth["series"][series]["phases"][phase]
                mu = cell["expected_events"]
                scores[series, phase].append((cell["events"] - mu) / np.sqrt(mu))
                means[series, phase].append(mu)
    for key, values in scores.items():
        assert abs(np.mean(values)) < 4 / np.sqrt(n), key
        spread = 4 * np.sqrt((2 + np.mean(1 / np.array(means[key]))) / n)
        assert abs(np.mean(np.square(values)) - 1) < spread, key
    mixed = np.corrcoef(scores["handling", "before"], scores["handling", "after"])[0, 1]
    assert abs(mixed) < 4 / np.sqrt(n), "counts of different phases are independent given the hours"


def test_with_very_many_injuries_the_observed_ratio_is_the_true_one() -> None:
    many = Rates(handling=22_000, non_handling=9_000, handling_first_aid=0, other_first_aid=0, near_miss=0)
    facility = simulate(Plan(seed=1, rates=many, trend=0.0, mess=False), hours_table=False)
    for series, lowest, highest in (("handling", 0.50, 0.70), ("non_handling", 0.85, 1.15)):
        truth = facility.truth["series"][series]
        before, after = truth["phases"]["before"], truth["phases"]["after"]
        observed = (after["events"] / after["hours"]) / (before["events"] / before["hours"])
        error = np.sqrt(1 / after["events"] + 1 / before["events"])
        assert np.log(observed / truth["after_to_before_ratio"]) == pytest.approx(0, abs=4 * error)
        assert error < 0.02
        assert lowest < truth["after_to_before_ratio"] < highest
    outcomes = facility.incidents["outcome"].unique().to_list()
    assert set(outcomes) == {"days_away", "restricted_or_transfer", "other_recordable"}


def test_days_never_exceed_the_cap_and_fit_their_outcome() -> None:
    """29 CFR 1904.7(b)(3)(vii): 180 days away and restricted together."""
    log = simulate(Plan(seed=2, staff=2000, mess=False), hours_table=False).incidents
    away, limited, outcome = pl.col("days_away"), pl.col("days_restricted"), pl.col("outcome")
    assert log.height > 1000
    assert log.filter(away + limited > 180).height == 0
    assert log.filter((outcome == "days_away") & (away < 1)).height == 0
    assert log.filter((outcome == "restricted_or_transfer") & ((away != 0) | (limited < 1))).height == 0
    none = ~outcome.is_in(("days_away", "restricted_or_transfer"))
    assert log.filter(none & (away + limited > 0)).height == 0


def test_nobody_in_the_comparison_unit_has_a_qualifying_completion() -> None:
    facility = quillmere()
    comparison = facility.units.filter(pl.col("comparison") == "yes")["unit"].to_list()
    assert comparison == ["Fir Terrace"]
    staff = set(facility.hours.filter(pl.col("unit").is_in(comparison))["employee_id"].drop_nulls())
    first, _ = completions(facility.training)
    assert len(staff) > 20
    assert staff.isdisjoint(first)
    online = facility.training.filter(pl.col("kind") == "online")["employee_id"]
    assert not staff.isdisjoint(online), "some have rows that do not qualify"


def test_classes_gather_around_the_first_class_of_the_unit_and_the_arrival_of_new_staff() -> None:
    facility = quillmere()
    first, _ = completions(facility.training)
    go_live = dict(facility.units.select("unit", "program_start").iter_rows())
    joined = facility.hours.drop_nulls("employee_id").sort("period_start").group_by("employee_id", maintain_order=True)
    at_start = arrived = 0
    for row in joined.agg(pl.col("unit").unique(maintain_order=True), pl.col("period_start").min()).iter_rows(
        named=True
    ):
        if len(row["unit"]) > 1 or row["employee_id"] not in first:
            continue
        begin = max(go_live[row["unit"][0]], row["period_start"])
        wait = (first[row["employee_id"]] - begin).days
        if begin > row["period_start"]:
            at_start += 1
            assert 0 <= wait <= 43  # six weeks, and a week-end moves to Monday
        else:
            arrived += 1
            assert 3 <= wait <= 22
        assert first[row["employee_id"]].weekday() < 5
    assert at_start > 80
    assert arrived > 40


def test_pay_periods_run_across_quarter_ends_without_gap_or_overlap() -> None:
    spans = quillmere().hours.select("period_start", "period_end").unique().sort("period_start").rows()
    assert spans[0][0] < date(2023, 1, 1)
    assert spans[-1][1] >= date(2026, 6, 30)
    for (start, end), (following, _) in pairwise(spans):
        assert (end - start).days == 13
        assert following == end + timedelta(days=1)
    across = [end for start, end in spans if (start.month - 1) // 3 != (end.month - 1) // 3]
    assert len(across) >= 10


def test_posted_totals_are_the_log_and_the_hours_of_the_year() -> None:
    facility = quillmere()
    log = facility.incidents.with_columns(pl.col("event_date").dt.year().alias("year"))
    hours: dict[int, float] = defaultdict(float)
    for row in facility.hours.filter(pl.col("pay_code").is_in(WORKED)).iter_rows(named=True):
        for step in range(14):
            hours[(row["period_start"] + timedelta(days=step)).year] += row["hours"] / 14
    assert facility.annual_totals["year"].to_list() == [2023, 2024, 2025]
    for row in facility.annual_totals.iter_rows(named=True):
        outcome = log.filter(pl.col("year") == row["year"])["outcome"].to_list()
        columns = ("deaths", "days_away_cases", "restricted_cases", "other_cases")
        assert [row[c] for c in columns] == [outcome.count(o) for o in RECORDABLE]
        assert row["hours"] == pytest.approx(hours[row["year"]], abs=0.51)


def test_a_larger_facility_has_hours_and_truth_to_match() -> None:
    """Four times the posts: about four times the hours, and the table agrees with the truth over several blocks."""
    plan = replace(Plan(seed=4, mess=False), staff=960)
    facility = simulate(plan)
    table = facility.hours.filter(pl.col("pay_code").is_in(WORKED))
    start, end = pl.col("period_start"), pl.col("period_end")
    inside = (pl.min_horizontal(end, plan.end) - pl.max_horizontal(start, plan.start)).dt.total_days() + 1
    worked = float(table.select((pl.col("hours") * inside / 14).sum()).item())
    truth = sum(p["hours"] for p in facility.truth["series"]["handling"]["phases"].values())
    small = sum(p["hours"] for p in quillmere().truth["series"]["handling"]["phases"].values())
    assert worked == pytest.approx(truth, abs=0.01)
    assert truth / small == pytest.approx(4, rel=0.03)
    assert facility.hours.height > 100_000


def test_shift_file_has_the_rows_asked_for_and_the_hours_of_each_pay_period(tmp_path: Path) -> None:
    plan = replace(SMALL, staff=14)
    rows = write_hours(plan, tmp_path / "all.csv")
    shifts = pl.read_csv(tmp_path / "all.csv", schema_overrides={"employee_id": pl.String}, try_parse_dates=True)
    assert shifts.height == rows
    assert shifts.columns == ["employee_id", "unit", "work_date", "hours"]
    assert shifts.select(pl.struct("employee_id", "unit", "work_date").n_unique()).item() == rows, "one shift a day"
    assert shifts["hours"].max() < 16
    begin = plan.first_period
    period = pl.lit(begin) + pl.duration(days=(pl.col("work_date") - begin).dt.total_days() // 14 * 14)
    summed = shifts.group_by("employee_id", "unit", period.alias("period_start")).agg(pl.col("hours").sum().round(2))
    own = pl.col("pay_code").is_in(("REG", "OT", "EDU"))
    payroll = simulate(plan).hours.filter(own).group_by("employee_id", "unit", "period_start")
    expected = payroll.agg(pl.col("hours").sum().round(2))
    order = ("employee_id", "unit", "period_start")
    assert summed.sort(order).equals(expected.sort(order))


def test_shift_file_of_a_stated_size_serves_the_scaled_plan(tmp_path: Path) -> None:
    assert write_hours(Plan(), tmp_path / "hours.csv", rows=250_000) == 250_000
    with (tmp_path / "hours.csv").open() as lines:
        assert sum(1 for _ in lines) == 250_001
    plan = plan_for_rows(Plan(), 250_000)
    assert plan_for_rows(plan, 250_000) == plan
    kept = pl.read_csv(tmp_path / "hours.csv", schema_overrides={"employee_id": pl.String})
    people = set(simulate(plan).hours["employee_id"].drop_nulls())
    assert set(kept["employee_id"]) <= people
    assert len(set(kept["employee_id"])) > 0.95 * len(people)
    assert kept["unit"].n_unique() == 7


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["--staff", "3"], "7 units"),
        (["--quarters", "0"], "after its end"),
        (["--washout-days", "-1"], "washout_days must be 0 or more"),
        (["--seed", "-5"], "seed must be 0 or more"),
    ],
)
def test_command_refuses_plans_that_cannot_be_carried_out(
    arguments: list[str], says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([str(tmp_path / "x"), *arguments]) == UsageProblem.exit_code
    assert says in capsys.readouterr().err
    assert not (tmp_path / "x").exists()


@pytest.mark.parametrize(
    "plan",
    [
        Plan(rates=Rates(0, 0, 0, 0, 0)),
        Plan(seed=3, staff=7, end=date(2023, 1, 1)),
        Plan(seed=3, staff=14, end=date(2023, 3, 31)),
        Plan(seed=3, staff=30, end=date(2031, 12, 31)),
        Plan(seed=3, turnover_per_year=0, transfers_per_year=0, agency_share=0, period_days=7),
    ],
    ids=["no injury", "one day", "one quarter", "nine years", "nobody moves"],
)
def test_unusual_plans_give_whole_files_with_the_same_types(plan: Plan, tmp_path: Path) -> None:
    facility = simulate(plan)
    write(facility, tmp_path)
    for name in (*SAMPLE, "annual_totals"):
        assert getattr(facility, name).schema == getattr(quillmere(), name).schema, name
    hours = sum(p["hours"] for p in facility.truth["series"]["handling"]["phases"].values())
    years = ((plan.end - plan.start).days + 1) / 365.25
    assert 900 < hours / years / plan.staff < 2100, "hours of a post in a year"
    if plan.rates.handling == 0:
        assert facility.incidents.height == 0
        assert facility.truth["log"]["rows"] == 0


def test_negative_rates_are_refused() -> None:
    with pytest.raises(ReviewProblem, match="cannot be negative"):
        Plan(rates=Rates(handling=-1))


def test_reference_rates_name_their_source_once_each() -> None:
    rates = quillmere().reference_rates
    key = ("naics", "ownership", "year", "case_type")
    assert rates.select(pl.struct(key).is_duplicated().any()).item() is False
    assert rates["source"].str.len_chars().min() > 10
    known = rates.filter((pl.col("naics") == "all") & (pl.col("year") == "2018"))
    # BLS, survey of occupational injuries and illnesses, chart data 2018: private industry, TRC 2.8, DART 1.6
    assert dict(known.select("case_type", "rate").iter_rows())["recordable"] == 2.8
    assert dict(known.select("case_type", "rate").iter_rows())["dart"] == 1.6
