"""Technique audits: counts from the file, shares and changes against other libraries, and the early figures."""

from __future__ import annotations

import json
from collections import Counter
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from handling_review import files, starter
from handling_review.evidence import audits, export_training, numbers, rates, training, units
from handling_review.intake.load import load_all
from handling_review.program import Program, Thresholds, read_program
from handling_review.store.database import Store
from handling_review.store.measure import prepare
from spec import made_up_tables as made_up
from whole import facility

COLUMNS = ["quarter", "unit", "transfer_type", "item", "met", "not_met", "not_applicable"]
YEAR_1 = ("2024-Q1", "2024-Q2", "2024-Q3", "2024-Q4")
YEAR_2 = ("2025-Q1", "2025-Q2", "2025-Q3", "2025-Q4")
NAMES = {"A": "Ash", "B": "Beech"}


def frame(*rows: tuple[str, str, str, str, int, int, int]) -> pd.DataFrame:
    return pd.DataFrame(list(rows), columns=COLUMNS)


def two_years() -> pd.DataFrame:
    """Worked by hand, met and not met. First year: brakes 48 and 32, knees 3 and 1. Second: brakes 56 and 14,

    knees 30 and 30, count 4 and 0. Steps that do not apply: 100 of brakes in the first year, 7 of count in the second.
    """
    return frame(
        ("2024-Q1", "A", "stand_pivot", "brakes_set", 20, 20, 100),
        ("2024-Q4", "B", "squat_pivot", "brakes_set", 28, 12, 0),
        ("2024-Q4", "B", "squat_pivot", "knees_bent", 3, 1, 0),
        ("2025-Q1", "A", "stand_pivot", "brakes_set", 16, 4, 0),
        ("2025-Q4", "B", "stand_pivot", "brakes_set", 40, 10, 0),
        ("2025-Q4", "A", "squat_pivot", "knees_bent", 30, 30, 0),
        ("2025-Q4", "B", "squat_pivot", "count_given", 4, 0, 7),
    )


def gathered(
    found: pd.DataFrame | None = None, complete: tuple[str, ...] = YEAR_1 + YEAR_2, program: Program | None = None
) -> audits.AuditsEvidence:
    return audits.gather(two_years() if found is None else found, complete, NAMES, program or made_up.program())


def row(rows: tuple[audits.AuditRow, ...], code: str) -> audits.AuditRow:
    return {item.code: item for item in rows}[code]


def limits(estimate: Any) -> tuple[float, float, float]:
    return estimate.value.value, estimate.lower.value, estimate.upper.value


def test_items_and_transfers_are_those_of_the_contract_in_its_order() -> None:
    fields = json.loads(files.read_text("schemas", "observations.json"))["fields"]
    listed = {field["name"]: field["constraints"].get("enum") for field in fields}
    assert list(audits.ITEMS) == listed["item"]
    assert list(audits.TRANSFERS) == listed["transfer_type"]


def test_shares_are_met_of_judged_with_steps_that_do_not_apply_in_neither() -> None:
    brakes = row(gathered().items, "brakes_set")
    assert (brakes.now.met.value, brakes.now.judged.value, brakes.now.not_applicable.value) == (56, 70, 0)
    assert (brakes.then.met.value, brakes.then.judged.value, brakes.then.not_applicable.value) == (48, 80, 100)
    assert brakes.now.share is not None
    assert brakes.now.share.value.value == 0.8
    assert brakes.now.share.value.shown == "80%"


def test_the_change_is_newcombe_s_published_example() -> None:
    # 56/70 against 48/80: difference 0.20, method 10 gives 0.0524 to 0.3339 (Newcombe 1998, Stat Med 17:873-890,
    # table II, example a; from memory).
    brakes = row(gathered().items, "brakes_set")
    assert brakes.change is not None
    assert limits(brakes.change) == pytest.approx((20, 5.24, 33.39), abs=0.005)
    assert brakes.change.value.unit == "percentage points"
    assert brakes.change.lower.shown == "5.2"
    assert brakes.verdict == "higher"


def test_intervals_agree_with_another_library() -> None:
    found = gathered()
    for item in (found.facility, *found.items, *found.transfers, *found.units):
        sides = [(side.met.value, side.judged.value) for side in (item.now, item.then)]
        for side, (met, judged) in zip((item.now, item.then), sides, strict=True):
            if side.share is not None:
                wanted = proportion_confint(met, judged, method="wilson")
                assert limits(side.share) == pytest.approx((met / judged, *wanted), abs=1e-9), item.code
        if item.change is not None:
            low, high = confint_proportions_2indep(*sides[0], *sides[1], method="newcomb", compare="diff")
            gap = sides[0][0] / sides[0][1] - sides[1][0] / sides[1][1]
            assert limits(item.change) == pytest.approx((100 * gap, 100 * low, 100 * high), abs=1e-7), item.code
    assert sum(item.change is not None for item in (found.facility, *found.items, *found.units)) >= 4


def test_the_facility_by_quarter() -> None:
    by_quarter = {item.quarter: item.steps for item in gathered().quarters}
    assert list(by_quarter) == [*YEAR_1, *YEAR_2]
    last = by_quarter["2025-Q4"]
    assert (last.met.value, last.judged.value, last.not_applicable.value) == (40 + 30 + 4, 50 + 60 + 4, 7)
    assert last.share is not None
    assert limits(last.share) == pytest.approx((74 / 114, *proportion_confint(74, 114, method="wilson")), abs=1e-9)
    assert by_quarter["2025-Q2"].share is None, "nothing was judged"


def test_the_facility_units_and_transfers_add_up() -> None:
    found = gathered()
    assert (found.facility.now.met.value, found.facility.now.judged.value) == (90, 134)
    for rows in (found.items, found.transfers, found.units):
        assert sum(int(item.now.judged.value or 0) for item in rows) == 134
        assert sum(int(item.then.met.value or 0) for item in rows) == 51
    assert [item.name for item in found.units] == ["Ash", "Beech"]
    ash = row(found.units, "A")
    assert (ash.now.met.value, ash.now.judged.value) == (46, 80)
    stand = row(found.transfers, "stand_pivot")
    assert (stand.now.judged.value, stand.then.judged.value) == (70, 40)
    assert [item.code for item in found.items] == ["brakes_set", "count_given", "knees_bent"], "order of the contract"


def test_fewer_than_five_steps_on_a_side_give_counts_only() -> None:
    found = gathered()
    knees, count = row(found.items, "knees_bent"), row(found.items, "count_given")
    assert knees.verdict == "counts_only"
    assert knees.then.share is None
    assert knees.change is None
    assert knees.now.share is not None
    assert (count.now.share, count.now.met.value, count.verdict) == (None, 4, "no_data")
    looser = Program(path=Path("program.toml"), thresholds=Thresholds(unreliable_below=4))
    assert row(gathered(program=looser).items, "knees_bent").verdict == "cannot_tell"


def test_verdicts_follow_the_printed_limits() -> None:
    def verdict(met1: int, not1: int, met0: int, not0: int) -> str:
        table = frame(
            ("2024-Q1", "A", "other", "brakes_set", met0, not0, 0),
            ("2025-Q1", "A", "other", "brakes_set", met1, not1, 0),
        )
        return gathered(table).facility.verdict

    assert verdict(56, 14, 48, 32) == "higher"
    assert verdict(48, 32, 56, 14) == "lower"
    assert verdict(50, 20, 48, 22) == "cannot_tell"
    tight = [(m, t) for m in range(60, 100) for t in range(40, m) if 0 < 100 * _lower(m, t) < 0.05]
    assert tight, "a lower limit that is printed as 0.0"
    for met1, met0 in tight:
        assert verdict(met1, 100 - met1, met0, 100 - met0) == "cannot_tell"


def _lower(met1: int, met0: int) -> float:
    return float(confint_proportions_2indep(met1, 100, met0, 100, method="newcomb", compare="diff")[0])


def test_items_least_met_are_those_whose_range_lies_below_the_whole() -> None:
    def table(*not_met: int) -> pd.DataFrame:
        return frame(
            *(("2025-Q1", "A", "other", item, 100 - n, n, 0) for item, n in zip(audits.ITEMS, not_met, strict=False))
        )

    found = gathered(table(10, 30, 10, 60, 10, 10, 10))  # whole: 80%; of 70 in 100 the range ends at 78.1%
    assert [item.code for item in found.least_met()] == ["chair_angle_60_to_90", "rests_cleared"]
    assert gathered(table(10, 12, 9, 11)).least_met() == ()
    many = gathered(table(50, 41, 60, 45, 0, 0, 0, 0, 0, 0, 0, 0))
    assert [item.code for item in many.least_met()] == ["brakes_set", "stronger_side_first", "rests_cleared"]


def test_no_data_one_quarter_and_all_not_applicable() -> None:
    none = gathered(frame())
    assert "no technique audit" in none.reason
    assert (none.quarters, none.items, none.transfers, none.units) == ((), (), (), ())
    early = gathered(complete=())
    assert "no quarter is complete" in early.reason
    one = gathered(complete=("2025-Q4",))
    assert (one.now, one.then, one.reason) == (("2025-Q4",), (), "")
    assert one.facility.now.judged.value == 114
    assert (one.facility.change, one.facility.verdict) == (None, "no_data")
    assert [item.is_complete for item in one.quarters] == [False, False, False, True]
    seven = gathered(complete=(YEAR_1 + YEAR_2)[1:])
    assert (seven.now, seven.then) == (YEAR_2, ()), "three quarters are no year to compare with"
    apart = gathered(frame(("2025-Q4", "A", "other", "brakes_set", 0, 0, 9)))
    assert (apart.facility.now.share, apart.facility.now.not_applicable.value, apart.reason) == (None, 9, "")
    assert apart.least_met() == ()


def test_an_item_that_is_never_missed_keeps_an_open_lower_end() -> None:
    found = gathered(frame(("2025-Q4", "A", "other", "brakes_set", 12, 0, 0)))
    share = row(found.items, "brakes_set").now.share
    assert share is not None
    # With no miss Wilson's lower limit is n / (n + z^2).
    assert limits(share) == pytest.approx((1, 12 / (12 + 1.959963984540054**2), 1), abs=1e-12)


def test_every_key_stands_for_one_number() -> None:
    found = gathered()
    listed = numbers.published(found)
    keys = {number.key for number in listed}
    assert {"audit_share/item:brakes_set/four-quarters", "audit_change/item:brakes_set/four-quarters"} <= keys
    assert {"audit_share/facility/2025-Q4", "audit_share_upper/unit:A/four-quarters-before"} <= keys
    assert len(keys) == len(listed) == len(list(numbers.numbers_in(found))), "none stands twice"


def audits_of(program_file: Path, folder: Path) -> pd.DataFrame:
    program = read_program(program_file)
    folder.mkdir(exist_ok=True)
    with Store(folder / "review.duckdb", folder / "spill") as store:
        load_all(program, store, lambda _stage, _rows: None)
        prepare(program, store, program.review.as_of or date.today())
        store.run("int_audits")
        store.run("out_audits")
        return store.frame("out_audits")


def test_the_sample_is_counted_as_a_plain_reading_counts_it(tmp_path: Path) -> None:
    program = starter.copy_sample(tmp_path / "in")
    found = audits_of(program, tmp_path / "out")
    rows = pd.read_csv(program.with_name("observations.csv"), parse_dates=["observed_on"])
    rows["quarter"] = rows["observed_on"].dt.to_period("Q").astype(str).str.replace("Q", "-Q")
    keys = COLUMNS[:4]
    wanted = rows.groupby([*keys, "met"]).size().unstack("met", fill_value=0).reset_index()
    wanted = wanted.rename(columns={"yes": "met", "no": "not_met"})[COLUMNS].sort_values(keys, ignore_index=True)
    wanted.columns.name = None
    pd.testing.assert_frame_equal(found, wanted, check_dtype=False)
    assert int(found[["met", "not_met", "not_applicable"]].to_numpy().sum()) == len(rows)


def test_days_outside_the_review_are_left_out_and_spellings_of_a_unit_are_one(tmp_path: Path) -> None:
    rows = [
        ("2025-01-09", "North", "yes"),  # the day before the review, in its first quarter
        ("2025-01-10", "North", "yes"),
        ("2025-03-31", "NORTH", "no"),
        ("2025-03-31", "N wing", "not_applicable"),
        ("2025-04-01", "north", "yes"),
        ("2025-06-20", "South", "no"),
        ("2025-06-21", "South", "no"),  # the day after it, in its last quarter
        ("2025-07-01", "South", "no"),
    ]
    text = "observed_on,unit,transfer_type,item,met\n"
    text += "".join(f"{day},{unit},other,brakes_set,{met}\n" for day, unit, met in rows)
    program = facility.PROGRAM.replace("[training]", 'observations = "observations.csv"\n[training]')
    program = program.replace("\nstart = 2025-01-01", "\nstart = 2025-01-10")
    program = program.replace("\nend = 2025-06-30", "\nend = 2025-06-20")
    program += '[units.aliases]\n"N wing" = "North"\n'
    found = audits_of(facility.write(tmp_path / "in", program=program, observations=text), tmp_path / "out")
    assert found.to_numpy().tolist() == [
        ["2025-Q1", "North", "other", "brakes_set", 1, 1, 1],
        ["2025-Q2", "North", "other", "brakes_set", 1, 0, 0],
        ["2025-Q2", "South", "other", "brakes_set", 0, 1, 0],
    ]


def test_without_an_observations_file_the_table_is_empty_and_says_so(tmp_path: Path) -> None:
    found = audits_of(facility.write(tmp_path / "in"), tmp_path / "out")
    assert list(found.columns) == COLUMNS
    assert gathered(found).reason


def early(
    found: pd.DataFrame | None = None, **options: Any
) -> tuple[audits.LeadingEvidence, rates.RatesEvidence, training.TrainingEvidence]:
    tables, program = made_up.tables(**options), made_up.program()
    rate = rates.gather(tables, program)
    names = units.unit_names(tables)
    coverage = training.gather(tables, rate.complete(), names, program)
    own = audits.gather(two_years() if found is None else found, rate.complete(), names, program)
    return audits.leading(own, coverage, rate, program), rate, coverage


def test_early_figures_stand_beside_the_injuries_two_quarters_later() -> None:
    found, rate, coverage = early()
    spans = {span.quarter: span for span in rate.quarters}
    by_quarter = {item.quarter: item for item in found.rows}
    assert list(by_quarter) == list(made_up.QUARTERS)
    assert by_quarter["2024-Q3"].later_quarter == "2025-Q1"
    for quarter, item in by_quarter.items():
        assert item.first_aid == spans[quarter].of("first_aid")
        assert item.coverage == coverage.of(quarter).share("current")
        if item.injuries is not None:
            assert item.injuries == spans[item.later_quarter].of("handling")
    late = [item for item in found.rows if item.injuries is None]
    assert [(item.quarter, item.not_known) for item in late] == [
        ("2026-Q1", "not yet known"),
        ("2026-Q2", "not yet known"),
    ]
    assert [item.quarter for item in found.rows if item.is_provisional] == ["2026-Q2"]
    assert [item.quarter for item in found.rows if item.later_is_provisional] == ["2025-Q4"]
    steps = by_quarter["2025-Q4"].audits
    assert steps is not None
    assert steps.met.value == 74
    numbers.published(found, rate, coverage)  # the same numbers under the same keys


def test_an_incomplete_later_quarter_is_blank_with_its_reason() -> None:
    found, _, _ = early(missing={"2025-Q3": "hours of 3E stop on 2025-08-16"})
    by_quarter = {item.quarter: item for item in found.rows}
    assert "2025-Q3" not in by_quarter
    assert by_quarter["2025-Q1"].injuries is None
    assert by_quarter["2025-Q1"].not_known == "hours of 3E stop on 2025-08-16"


def test_early_figures_without_audits() -> None:
    found, _, _ = early(frame())
    assert not found.has_audits
    assert all(item.audits is None for item in found.rows)


def test_flat_rows_have_the_columns_of_their_headers_and_the_published_values() -> None:
    found = gathered()
    flat = list(export_training.audit_rows(found, "95"))
    assert all(tuple(line) == export_training.audit_header("95") for line in flat)
    kinds = Counter((line["by"], line["window"]) for line in flat)
    assert kinds[("facility", "quarter")] == 8
    assert kinds[("item", "recent")] == kinds[("item", "before")] == 3
    brakes = next(line for line in flat if line["code"] == "brakes_set" and line["window"] == "recent")
    assert (brakes["steps_met"], brakes["steps_not_met"], brakes["share_met"]) == (56, 14, 0.8)
    assert brakes["change_percentage_points_lower_95"] == pytest.approx(5.24, abs=0.005)
    assert (brakes["first_quarter"], brakes["last_quarter"], brakes["verdict"]) == ("2025-Q1", "2025-Q4", "higher")
    assert list(export_training.audit_rows(gathered(frame()), "95")) == []
    one = list(export_training.audit_rows(gathered(complete=("2025-Q4",)), "95"))
    assert {line["window"] for line in one} == {"quarter", "recent"}

    side, _, _ = early()
    lines = list(export_training.leading_rows(side, "95"))
    assert all(tuple(line) == export_training.leading_header("95") for line in lines)
    assert [line["quarter"] for line in lines] == list(made_up.QUARTERS)
    assert lines[-1]["later_rate_per_200k_hours"] is None
    assert lines[-1]["later_not_known_because"] == "not yet known"
    first = side.rows[0]
    assert first.injuries is not None
    assert first.injuries.rate is not None
    assert lines[0]["later_rate_per_200k_hours"] == first.injuries.rate.value
    assert lines[0]["later_series"] == "handling"
