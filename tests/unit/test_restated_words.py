"""Words about restated numbers, one test a shape; which keys speak of a fixed period; how a difference is shown."""

from __future__ import annotations

import json

import pytest

from handling_review.evidence import numbers, restated
from handling_review.evidence.numbers import RATE_UNIT, Number
from handling_review.evidence.restated_compare import (
    COMPARED,
    FIRST,
    NOT_COMPARABLE,
    Changes,
    Item,
    Reason,
    as_plain,
    from_plain,
)
from handling_review.evidence.restated_keys import fixed_period
from handling_review.history.differences import ChangedSetting
from handling_review.page.words import restated as words

QUARTERS = ("2025-Q1", "2025-Q2", "2025-Q3", "2025-Q4")


def cases(quarter: str, then: int, now: int, *reasons: Reason) -> Item:
    key = f"cases/facility/{quarter}/handling"
    return Item(key, ("cases", float(then), str(then)), ("cases", float(now), str(now)), reasons)


def rate(quarter: str, then: float, now: float, *reasons: Reason) -> Item:
    key = f"rate/facility/{quarter}/handling"
    return Item(key, (RATE_UNIT, then, f"{then:.1f}"), (RATE_UNIT, now, f"{now:.1f}"), reasons)


def said(changes: Changes) -> str:
    found = restated.gather(changes, {"N": "North Wing"})
    return " ".join(sentence.text for sentence in words.changed_sentences(found, "handling"))


def compared(*items: Item, **more: object) -> Changes:
    known: dict[str, object] = {"run_id": "abc", "as_of": "2026-01-15", "compared": 120, "items": items}
    return Changes(COMPARED, **(known | more))  # type: ignore[arg-type]


LATE = Reason("late_cases", cases=1)


def test_the_first_review() -> None:
    assert said(Changes(FIRST)) == "This is the first review that is kept here, so there is none to compare it with."


def test_nothing_restated() -> None:
    assert said(compared()) == (
        "Since the review as of 2026-01-15: none of the 120 numbers of finished periods that both give has changed."
    )


def test_one_restated() -> None:
    told = said(compared(cases("2025-Q4", 3, 4, LATE), totals=(LATE,)))
    assert "1 number of cases, hours and rates of finished periods reads differently, of 120" in told
    assert "Why: 1 case entered in the log since." in told
    assert "Cases of handling injuries, 2025-Q4: 3 then, 4 now." in told


def test_few_restated_with_their_rate() -> None:
    reasons = (Reason("late_cases", cases=2), Reason("late_hours", hours=-12.5))
    told = said(compared(cases("2025-Q4", 3, 5, *reasons), rate("2025-Q4", 8.1, 10.4, *reasons), totals=reasons))
    assert "2 numbers of cases, hours and rates of finished periods read differently" in told
    assert "Why: 2 cases entered in the log since and −12.5 hours entered since." in told
    assert "2025-Q4: 3 then, 5 now (rate 8.1, now 10.4)" in told


def test_many_restated_name_the_latest_three_quarters() -> None:
    told = said(compared(*(cases(q, 3, 4, LATE) for q in QUARTERS), totals=(Reason("late_cases", cases=4),)))
    assert "4 numbers" in told
    assert "2025-Q1" not in told
    assert all(quarter in told for quarter in QUARTERS[1:])


def test_only_training_told_apart() -> None:
    reason = Reason("late_training", rows=2)
    item = Item("hours/unit:N/2025-Q4/never", ("hours", 90.0, "90"), ("hours", 0.0, "0"), (reason,))
    told = said(compared(item))
    assert "no number of cases, hours or rates of a finished period has changed; 1 number that tells training" in told
    assert "Why: training rows added since." in told


def test_changed_settings_are_named_with_both_values() -> None:
    setting = ChangedSetting("training.washout_days", "30", "60")
    assert "Changed settings: training.washout_days was 30 and is 60." in said(compared(settings=(setting,)))
    many = tuple(ChangedSetting(f"pay_codes.{n}", "not set", "X") for n in "abcd")
    assert "and 2 more" in said(compared(settings=many))


@pytest.mark.parametrize(
    ("why", "words_said"),
    [("no_common_quarter", "no complete quarter in common"), ("other_quarters", "quarters begin on other days")],
)
def test_numbers_that_cannot_be_compared(why: str, words_said: str) -> None:
    told = said(Changes(NOT_COMPARABLE, as_of="2026-01-15", why=why))
    assert "cannot be set beside these" in told
    assert words_said in told


def test_another_start_other_units_and_another_version() -> None:
    told = said(
        compared(
            starts=("2024-01-01", "2025-01-01"), units_gone=("Old",), units_new=("A", "B"), tool=("0.1.0", "0.2.0")
        )
    )
    assert "The review began on 2024-01-01 then and begins on 2025-01-01." in told
    assert "Units: Old no longer and A and B new; only units in both are compared." in told
    assert "Version of this tool: 0.1.0 then, 0.2.0 now." in told


@pytest.mark.parametrize(
    ("reason", "told"),
    [
        (Reason("withdrawn_cases", cases=2), "2 cases struck out or gone from the log"),
        (Reason("changed_outcome", cases=1), "1 case with another outcome now"),
        (Reason("corrected_hours", hours=9.0, rows=1), "+9.0 hours from corrected rows"),
        (Reason("corrected_hours", rows=3), "3 rows of hours from corrected rows"),
        (Reason("late_audits", rows=8), "8 audit rows added since"),
        (Reason("setting"), "a changed setting"),
        (Reason("setting", hours=-4.0), "−4.0 hours by a changed setting"),
        (Reason("tool"), "another version of this tool"),
        (Reason("not_known"), "not found in the rows"),
        (Reason("rows_gone"), "not known: the rows of the last review are no longer kept"),
        (Reason("unit_map", hours=180.0), "+180.0 hours in another unit by the changed unit names"),
        (Reason("mapping", cases=1), "1 case read otherwise by the changed column and code map"),
    ],
)
def test_each_reason_says_what_it_brings(reason: Reason, told: str) -> None:
    row = restated.gather(compared(cases("2025-Q4", 3, 4, reason)), {}).rows[0]
    assert words.reasons_sentence(row.reasons).text == told


def test_every_number_in_the_words_has_a_key_of_its_own() -> None:
    found = restated.gather(
        compared(cases("2025-Q4", 3, 4, LATE), rate("2025-Q4", 8.1, 10.4, LATE), totals=(LATE,)), {}
    )
    listed = {number.key for number in numbers.published(found)}
    told = words.changed_sentences(found, "handling")
    used = {part.key for sentence in told for part in sentence.parts if isinstance(part, Number)}
    assert used
    assert used <= listed
    assert {"restated_then/cases/facility/2025-Q4/handling", "restated_now/rate/facility/2025-Q4/handling"} <= listed


def test_changes_come_back_from_their_plain_values() -> None:
    changes = compared(
        cases("2025-Q4", 3, 4, LATE), Item("rate/facility/2025-Q4/dart", None, (RATE_UNIT, 1.5, "1.5"), (LATE,)),
        totals=(LATE,), settings=(ChangedSetting("a.b", "1", "2"),), tool=("1", "2"), units_new=("A",),
    )  # fmt: skip
    assert from_plain(json.loads(json.dumps(as_plain(changes)))) == changes


@pytest.mark.parametrize(
    ("key", "unit", "period", "series"),
    [
        ("cases/facility/2025-Q3/dart", None, "2025-Q3", "dart"),
        ("rate_lower/unit:2%20N/FY2026-Q1/recordable", "2 N", "FY2026-Q1", "recordable"),
        ("rate/facility/four-quarters-to-2025-Q2/handling", None, "four quarters to 2025-Q2", "handling"),
        ("hours/unit:A/2025-Q1", "A", "2025-Q1", ""),
        ("hours_share/facility/2025-Q1/never", None, "2025-Q1", "never"),
        ("people_with_hours/facility/2025-Q1", None, "2025-Q1", ""),
        ("in_review/2024/hours", None, "2024", "hours"),
        ("cases/facility/2025/recordable", None, "2025", "recordable"),
    ],
)
def test_keys_of_a_fixed_period(key: str, unit: str | None, period: str, series: str) -> None:
    found = fixed_period(key)
    assert found is not None
    assert (found.unit, found.period, found.series) == (unit, period, series)


@pytest.mark.parametrize(
    "key",
    [
        "ratio/facility/2025-Q3/quarter_before/handling",  # compares with a quarter of its own
        "chart_upper/facility/chart/handling/2025-Q3",  # its centre moves
        "late_cases/facility/2025-Q3/handling",  # an estimate
        "cases/unit:A/all/handling",
        "hours/facility/2025-Q3/handling",  # the same hours as hours/facility/2025-Q3
        "cases/phase:after/handling",
        "restated_then/cases/facility/2025-Q3/dart",
    ],
)
def test_keys_of_no_fixed_period(key: str) -> None:
    assert fixed_period(key) is None


@pytest.mark.parametrize(
    ("then", "now", "shown"),
    [
        (numbers.count("a", 4), numbers.count("b", 6), "+2"),
        (numbers.rate("a", 8.14), numbers.rate("b", 7.0), "−1.1"),
        (numbers.share("a", 0.5), numbers.share("b", 0.525), "+2.5 points"),
        (numbers.hours("a", 1000.2), numbers.hours("b", 2500.2), "+1,500"),
    ],
)
def test_a_difference_is_signed_and_rounded_as_its_number(then: Number, now: Number, shown: str) -> None:
    moved = numbers.change("key", then, now)
    assert moved is not None
    assert moved.shown == shown


def test_no_difference_to_what_is_not_defined() -> None:
    assert numbers.change("key", numbers.ratio("a", None), numbers.ratio("b", 1.0)) is None
    assert numbers.change("key", numbers.rate("a", float("inf")), numbers.rate("b", 1.0)) is None
