"""Who is hurt without who: small groups go together, and repeat injuries are set against chance."""

from __future__ import annotations

import dataclasses
from itertools import product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from handling_review.evidence import who
from handling_review.evidence.numbers import numbers_in
from handling_review.evidence.tables import ResultTables
from handling_review.page.words import who as words_who
from handling_review.program import Program, Thresholds
from spec import made_up_tables as made_up

COLUMNS = ["quarter", "kind", "value", "handling", "recordable", "dart", "days_away"]


def gathered(
    jobs: dict[str, int], hours: dict[str, float] | None = None, program: Program | None = None
) -> who.WhoEvidence:
    rows = [("2025-Q1", "job", job, n, n, 0, 0) for job, n in jobs.items()]
    rows += [("2025-Q1", kind, "not given", n, n, 0, 0) for kind in who.KINDS[1:] for n in [sum(jobs.values())]]
    staff = [("2025-Q1", job, "not known", time) for job, time in (hours or {}).items()]
    tables = dataclasses.replace(
        made_up.tables(),
        case_groups=pd.DataFrame(rows, columns=COLUMNS),
        staff_hours=pd.DataFrame(staff, columns=["quarter", "job", "tenure", "hours"]),
    )
    return who.gather(tables, ("2025-Q1",), program or made_up.program())


def shown(found: who.WhoEvidence) -> dict[str, int]:
    return {row.label: int(row.cases.value or 0) for row in found.of("job").rows}


@pytest.mark.parametrize(
    ("jobs", "expected"),
    [
        ({"aide": 20, "nurse": 7}, {"aide": 20, "nurse": 7}),
        ({"aide": 20, "nurse": 7, "cook": 2, "clerk": 4}, {"aide": 20, "nurse": 7, "all others": 6}),
        ({"aide": 20, "nurse": 7, "cook": 2}, {"aide": 20, "all others": 9}),
        ({"aide": 20, "cook": 0, "clerk": 0}, {"aide": 20, "clerk": 0, "cook": 0}),
        ({"aide": 6, "cook": 1}, {"all others": 7}),
    ],
)
def test_a_group_of_one_to_four_is_never_shown_alone(jobs: dict[str, int], expected: dict[str, int]) -> None:
    assert shown(gathered(jobs)) == expected


def test_how_many_cases_lack_a_group_is_not_published_where_they_are_few() -> None:
    """Cook 2 and not given 3 stand together; were the 3 printed as a share known, the 2 would follow."""
    found = gathered({"aide": 20, "cook": 2, "not given": 3})
    assert shown(found) == {"aide": 20, "all others": 5}
    own = [number for number in numbers_in(found) if "job" in number.key]
    assert {number.value for number in own} == {20, 5, 20 / 25, 5 / 25}
    assert found.of("job").is_mostly_known


def test_fewer_than_five_cases_in_all_are_not_broken_down() -> None:
    found = gathered({"aide": 3, "nurse": 1})
    assert found.of("job").rows == ()
    assert found.of("job").reason == "fewer than 5 cases in all"


@settings(max_examples=60, derandomize=True, deadline=None)
@given(
    some.dictionaries(some.sampled_from("abcdef"), some.integers(0, 9), min_size=1),
    some.integers(3, 6),
)
def test_a_reader_who_knows_the_rule_cannot_tell_a_hidden_count(groups: dict[str, int], fewest: int) -> None:
    """An attacker tries every way to fill the heap that the published total and the rule allow."""
    joined = who.pooled(sorted(groups.items()), fewest)
    if joined is None:
        return
    assert sorted(name for members in joined for name in members) == sorted(groups)
    for members in joined:
        counts = [groups[name] for name in members]
        if len(members) == 1:
            assert counts[0] == 0 or counts[0] >= fewest
            continue
        assert sum(counts) >= fewest
        is_small = [0 < count < fewest for count in counts]
        ranges = [range(1, fewest) if small else range(fewest, sum(counts) + 1) for small in is_small]
        ways = [way for way in product(*ranges) if sum(way) == sum(counts)]
        for at, small in enumerate(is_small):
            if small:
                assert len({way[at] for way in ways}) > 1, (counts, fewest)


@pytest.mark.parametrize(
    ("jobs", "expected"),
    [
        ({"aide": 20, "cook": 4, "clerk": 4}, {"all others": 28}),  # 8 in two small groups can only be 4 and 4
        ({"aide": 20, "nurse": 9, "cook": 4, "clerk": 4}, {"aide": 20, "all others": 17}),
        ({"aide": 5, "cook": 1}, {}),  # 6 in a large and a small group can only be 5 and 1
    ],
)
def test_a_total_that_would_give_its_parts_away_takes_in_another_group(
    jobs: dict[str, int], expected: dict[str, int]
) -> None:
    assert shown(gathered(jobs)) == expected


def test_the_threshold_is_a_setting() -> None:
    program = dataclasses.replace(made_up.program(), thresholds=Thresholds(privacy_cell=11))
    assert shown(gathered({"aide": 20, "nurse": 7}, program=program)) == {"all others": 27}


def test_rates_use_the_hours_of_the_group() -> None:
    found = gathered({"aide": 20, "nurse": 7}, {"aide": 400_000, "nurse": 100_000, "therapist": 50_000})
    rates = {row.label: row.rate for row in found.of("job").rows}
    assert rates["aide"] is not None
    assert rates["aide"].rate is not None
    assert rates["aide"].rate.value == pytest.approx(20 / 400_000 * 200_000)
    none = rates["therapist"]
    assert none is not None
    assert none.rate is None, "no rate of a group without enough cases"
    # exact one-sided limit with no case: -ln(0.05) / hours (29 CFR base of 200,000 hours)
    assert none.limit is not None
    assert none.limit.value == pytest.approx(-np.log(0.05) / 50_000 * 200_000)


def repeats(seen: dict[int, int], expected: dict[float, int]) -> who.Repeats | None:
    rows = [("seen", float(n), people) for n, people in seen.items()]
    rows += [("expected", value, people) for value, people in expected.items()]
    tables = dataclasses.replace(made_up.tables(), repeats=pd.DataFrame(rows, columns=["kind", "cases", "people"]))
    return who.gather(tables, ("2025-Q1",), made_up.program()).repeats


def test_repeats_by_chance_are_those_of_balls_in_boxes() -> None:
    """50 cases on 100 people of equal hours: a person has two or more with 1 - q^50 - 50 p q^49."""
    found = repeats({1: 30, 2: 10}, {0.5: 100})
    assert found is not None
    p, q = 1 / 100, 99 / 100
    exact = 100 * (1 - q**50 - 50 * p * q**49)
    assert found.expected.value == pytest.approx(exact, abs=0.15)
    assert found.people.value == 10
    assert not found.is_more
    assert not found.is_fewer


def test_more_repeats_than_chance_gives_are_told() -> None:
    found = repeats({1: 10, 2: 20}, {0.05: 1000})
    assert found is not None
    assert found.is_more
    assert "more than chance gives" in words_who.repeats_sentence(found).text


def test_few_people_with_repeats_are_not_counted_out() -> None:
    found = repeats({1: 40, 2: 2}, {0.5: 100})
    assert found is not None
    assert found.people.value is None
    assert words_who.repeats_sentence(found).text.startswith("People with two or more handling injuries: fewer than 5.")


def test_too_few_linked_cases_say_nothing_of_repeats() -> None:
    assert repeats({1: 4}, {0.5: 100}) is None
    assert "too few cases" in words_who.repeats_sentence(None).text


def test_a_group_that_is_mostly_unknown_is_not_called_the_largest() -> None:
    found = gathered({"aide": 6, "nurse": 5, "not given": 30})
    assert "job" not in words_who.largest_sentence(found).text
    known = gathered({"aide": 26, "nurse": 5, "not given": 10})
    assert "job: aide" in words_who.largest_sentence(known).text


def test_the_tables_that_evidence_is_drawn_from_hold_no_person() -> None:
    for name in ("waits", "repeats", "case_groups", "case_days", "lags", "tasks", "staff_hours"):
        columns = set(getattr(made_up.tables(), name).columns)
        assert not columns & {"employee_id", "case_number", "event_date", "reported_date"}, name
    assert isinstance(made_up.tables(), ResultTables)
