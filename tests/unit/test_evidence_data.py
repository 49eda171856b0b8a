"""Row accounting, findings, published rates, reporting mix, candidates for action, numbers and frames."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from handling_review.evidence import accounting, numbers, reference, reporting
from handling_review.evidence.assemble import assemble
from handling_review.evidence.export import result_frames
from handling_review.evidence.tables import ResultTables
from spec import made_up_tables as made_up


def changed(**replaced: pd.DataFrame) -> ResultTables:
    return ResultTables.from_dict(made_up.frames() | replaced)


# Row accounting


def test_every_row_is_used_set_aside_or_excluded() -> None:
    found = accounting.gather(made_up.tables())
    rows = {
        row.file: (row.rows_in.value, row.used.value, row.set_aside.value, row.excluded.value) for row in found.files
    }
    assert rows["incidents"] == (440, 402, 1, 37)
    assert rows["hours"] == (20_100 + 15_037, 29_114, 2, 6_021)
    assert found.balances
    assert found.rows_in.value == 440 + 35_137 + 754
    assert found.rows_not_used.value == 1 + 37 + 6_021 + 2 + 143


def test_a_lost_row_is_seen() -> None:
    frame = made_up.frames()["accounting"]
    frame.loc[0, "rows"] = 401
    found = accounting.gather(changed(accounting=frame))
    assert not found.balances
    assert [row.file for row in found.files if not row.balances] == ["incidents"]


def test_findings_are_grouped_by_rule_with_the_most_serious_first() -> None:
    frame = made_up.frames()["findings"]
    frame.loc[len(frame)] = ["blocks", "no_hours", "incidents", 9, "unit", "", 2, "No hours.", "Give the hours."]
    found = accounting.gather(changed(findings=frame)).findings
    assert [(g.severity, g.rule, g.count.value) for g in found] == [
        ("blocks", "no_hours", 2),
        ("look", "unknown_person", 4 + 1),
        ("look", "days_over_cap", 1),
        ("look", "unreadable_date", 1),
        ("note", "retake", 12),
    ]


def test_a_message_that_quotes_a_value_is_not_repeated() -> None:
    frame = made_up.frames()["findings"].iloc[:1].assign(found="004217", message="no hours for 004217")
    assert accounting.gather(changed(findings=frame)).findings[0].message == ""
    frame = frame.assign(found="", message="the cell is empty")
    assert accounting.gather(changed(findings=frame)).findings[0].message == "the cell is empty"


def test_no_finding_at_all_is_a_count_of_zero() -> None:
    found = accounting.gather(changed(findings=made_up.frames()["findings"].iloc[:0]))
    assert found.findings == ()
    assert found.finding_count("look").value == 0


# Published rates


def test_the_closest_industry_level_and_the_latest_year_are_taken() -> None:
    found = reference.gather(made_up.tables(), "623110")
    shown = [(r.naics, r.year, r.series, r.rate.value) for r in found.rates]
    assert shown == [("6231", "2024", "recordable", 6.1), ("62", "2024", "days_away", pytest.approx(1.2))]


def test_a_rate_per_ten_thousand_staff_is_brought_to_the_same_base() -> None:
    # 120 per 20,000,000 hours are 1.2 per 200,000 hours.
    found = reference.gather(made_up.tables(), "62").nearest("days_away")
    assert found is not None
    assert found.rate.value == pytest.approx(120 * 200_000 / 20_000_000)


def test_private_ownership_is_shown_before_a_later_year_of_another() -> None:
    columns = ["naics", "ownership", "year", "case_type", "rate", "base_hours", "source"]
    rows = [
        ("623", "not_stated", "2021", "recordable", 7.3, 200_000, "made up for tests"),
        ("623", "private", "2015", "recordable", 6.8, 200_000, "made up for tests"),
        ("623", "private", "2016", "recordable", 6.5, 200_000, "made up for tests"),
    ]
    shown = reference.gather(changed(reference_rates=pd.DataFrame(rows, columns=columns)), "623110")
    first = shown.nearest("recordable")
    assert first is not None
    assert (first.ownership, first.year, first.rate.shown) == ("private", "2016", "6.5")


@pytest.mark.parametrize("naics", ["", "484", "9"])
def test_no_matching_industry_gives_no_rate(naics: str) -> None:
    assert reference.gather(made_up.tables(), naics).rates == ()


# Reporting mix


def mix(years: dict[str, tuple[int, int]]) -> reporting.ReportingEvidence:
    """Recordable and DART cases a quarter, by year."""
    lines = [
        f"{year}-Q{q} A never {recordable} {dart} 50000"
        for year, (recordable, dart) in years.items()
        for q in (1, 2, 3, 4)
    ]
    tables = made_up.drawn("quarter unit phase recordable dart hours\n" + "\n".join(lines))
    return reporting.gather(tables, tuple(sorted(tables.quarters["quarter"])), made_up.program())


def test_the_dart_share_has_wilsons_interval() -> None:
    # 20 of 40: Wilson 1927, 95 %: 0.352 to 0.648.
    share = mix({"2024": (10, 5)}).years[0].dart_share
    assert share is not None
    assert (share.value.value, share.lower.value, share.upper.value) == pytest.approx((0.5, 0.352, 0.648), abs=5e-4)


@pytest.mark.parametrize(
    ("earlier", "later", "asks"),
    [((10, 4), (6, 4), True), ((10, 4), (6, 2), False), ((10, 4), (12, 9), False)],
)
def test_fewer_recordables_with_a_larger_dart_share_ask_for_a_look(
    earlier: tuple[int, int], later: tuple[int, int], asks: bool
) -> None:
    assert mix({"2023": earlier, "2024": later}).asks_a_look == asks


def test_a_year_without_recordable_cases_has_no_dart_share() -> None:
    assert mix({"2024": (0, 0)}).years[0].dart_share is None


# Candidates for action


def test_candidates_follow_from_findings_and_are_at_most_four() -> None:
    found = made_up.review(missing={"2025-Q3": "hours of 3E stop on 2025-08-16"}).actions
    kinds = [candidate.kind for candidate in found]
    assert 1 <= len(kinds) <= 4
    assert kinds.index("walk_through") < kinds.index("get_missing")


def test_a_higher_rate_after_training_asks_to_look_before_going_further() -> None:
    found = made_up.review(ratio=2.5)
    assert found.actions[0].kind == "look_before_extending"
    assert found.actions[0].finding in ("did-it-work", "before-after")
    if found.answer.ladder.lead.verdict != "higher":
        assert found.actions[0].numbers == (found.before_after.primary.ratio.value,)  # type: ignore[union-attr]


def test_low_coverage_names_units_but_not_the_comparison_unit() -> None:
    # The comparison unit 3 West has no training at all and is not asked to schedule any.
    person = made_up.person_time()
    late = person["quarter"].eq("2026-Q2") & person["unit"].eq("1N") & person["phase"].eq("after")
    person.loc[late, "phase"] = "never"
    program = made_up.program()
    found = assemble(changed(person_time=person), made_up.scope(program), program).actions
    assert next(c.units for c in found if c.kind == "schedule_training") == ("1 North",)


# Numbers


@pytest.mark.parametrize(
    ("number", "shown"),
    [
        (numbers.rate("k", 6.05), "6.0"),
        (numbers.rate("k", 12.349), "12.3"),
        (numbers.hours("k", 590_312.4), "590,312"),
        (numbers.count("k", 1234), "1,234"),
        (numbers.ratio("k", 0.4549), "0.45"),
        (numbers.ratio("k", math.inf), "no limit"),
        (numbers.ratio("k", math.nan), "not defined"),
        (numbers.difference("k", -1.24), "−1.2"),
        (numbers.difference("k", -0.04), "0.0"),
        (numbers.cases_avoided("k", 9.96), "10.0"),
        (numbers.cases_avoided("k", 14.5), "14"),
        (numbers.share("k", 0.567), "57%"),
    ],
)
def test_one_rounding_rule_for_each_kind_of_number(number: numbers.Number, shown: str) -> None:
    assert number.shown == shown


def test_keys_of_units_cannot_collide() -> None:
    names = ("4 West", "4%20West", "4/West", "facility")
    assert len({numbers.key_part(name) for name in names}) == len(names)
    assert "/" not in numbers.key_part("4/West")


def test_one_key_for_two_numbers_is_refused() -> None:
    with pytest.raises(ValueError, match="two numbers share the key rate/x"):
        numbers.published((numbers.rate("rate/x", 1.0), numbers.rate("rate/x", 2.0)))


def test_the_review_lists_each_published_number_once() -> None:
    found = made_up.review()
    keys = [number.key for number in found.numbers]
    assert len(keys) == len(set(keys))
    for key in ("rate/facility/2025-Q3/handling", "ratio/facility/before_after/handling"):
        assert key in keys


# Tables in and out


def test_a_missing_table_or_column_is_named() -> None:
    frames = made_up.frames()
    with pytest.raises(ValueError, match="lacks the column hours"):
        ResultTables.from_dict(frames | {"person_time": frames["person_time"].drop(columns="hours")})
    del frames["units"]
    with pytest.raises(ValueError, match="lack units"):
        ResultTables.from_dict(frames)


@pytest.mark.parametrize("column", ["employee_id", "case_number", "narrative", "event_date"])
def test_a_table_about_single_persons_is_refused(column: str) -> None:
    frames = made_up.frames()
    with pytest.raises(ValueError, match=column):
        ResultTables.from_dict(frames | {"person_time": frames["person_time"].assign(**{column: "x"})})


def test_result_frames_carry_units_in_their_column_names() -> None:
    found = result_frames(made_up.review())
    columns = list(found["rates_by_quarter"].columns)
    for name in ("hours_worked", "rate_per_200k_hours", "lower_95", "upper_95", "withheld_because"):
        assert name in columns
    assert "rate_difference_per_200k_hours_lower_95" in found["before_after"].columns


def test_result_frames_repeat_the_published_values() -> None:
    one = made_up.review()
    frame = result_frames(one)["rates_by_quarter"]
    published = {number.key: number.value for number in one.numbers}
    for row in frame[frame["is_complete"]].to_dict("records"):
        key = f"rate/facility/{row['quarter']}/{row['series']}"
        assert row["rate_per_200k_hours"] == published[key]


def test_every_result_frame_has_the_same_header_when_it_is_empty() -> None:
    frames = made_up.frames(missing=dict.fromkeys(made_up.QUARTERS, "hours missing"))
    frames["person_time"] = frames["person_time"][frames["person_time"]["quarter"] == "2024-Q1"]
    frames["quarters"] = frames["quarters"][frames["quarters"]["quarter"] == "2024-Q1"]
    for name in ("unit_quarters", "training_people", "reference_rates"):
        frames[name] = frames[name].iloc[:0]
    program = made_up.program()
    empty = result_frames(assemble(ResultTables.from_dict(frames), made_up.scope(program), program))
    filled = result_frames(made_up.review())
    assert sum(len(frame) == 0 for frame in empty.values()) >= 9
    for name, frame in filled.items():
        assert list(frame.columns) == list(empty[name].columns), name


def test_no_result_frame_is_about_single_persons() -> None:
    for name, frame in result_frames(made_up.review()).items():
        assert not {"employee_id", "case_number", "narrative", "event_date"}.intersection(frame.columns), name
