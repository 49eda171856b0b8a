"""What the page does with too much and with too little: long tables, many starts, many units, no case at all."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from itertools import pairwise
from typing import Any

import pytest

from handling_review.evidence import numbers
from handling_review.evidence.assemble import Review
from handling_review.page import figures_answer, funnel, long_tables, tasks
from handling_review.page.figures import rates_picture, series_picture
from handling_review.page.figures_compare import forest_picture
from handling_review.page.house import MOST_NAMED_QUARTERS, Picture, narrow_quarter_axis, quarter_axis
from handling_review.page.numbered import Counter
from handling_review.page.sentence import say
from handling_review.page.short_names import shortened
from handling_review.page.tables import Column, Table
from handling_review.page.time_axis import MOST_MARKED_STARTS, over_time
from handling_review.page.words import change, data, due, late, rates
from handling_review.page.words import tasks as words_tasks
from spec import made_up_tables as made_up

QUARTERS = tuple(f"{year}-Q{part}" for year in range(2016, 2026) for part in (1, 2, 3, 4))


@cache
def review() -> Review:
    return made_up.review()


# Long and empty tables


def table(first: str, rows: tuple[str, ...]) -> Table:
    return Table("Cases", (Column(first), Column("Cases", "number")), tuple((row, "1") for row in rows))


def test_ten_years_of_quarters_are_cut_to_three_and_stand_whole_under_the_fold() -> None:
    shown, folded, pointer = long_tables.arranged([table("Quarter", (*QUARTERS, "All quarters"))], [])
    assert [row[0] for row in shown[0].rows] == [*QUARTERS[-12:], "All quarters"]
    assert shown[0].caption == "Cases, the latest three years"
    assert [len(one.rows) for one in folded] == [41]
    assert pointer == "Under “How we know, and more tables”: Cases."


def test_sixty_units_stand_under_the_fold_and_a_few_in_sight() -> None:
    many, few = (table("Unit (alphabetical)", tuple(f"Ward {i}" for i in range(n))) for n in (60, 24))
    assert long_tables.arranged([many], [few])[:2] == ((), (many, few))
    assert long_tables.arranged([few], [])[:2] == ((few,), ())


def test_a_list_of_things_to_put_right_is_never_folded_away() -> None:
    things = table("File", tuple(str(i) for i in range(40)))
    assert long_tables.arranged([things], []) == ((things,), (), "")


def test_a_table_without_rows_and_a_picture_without_points_are_left_out() -> None:
    nothing = forest_picture("x", say("x"), [])
    found = Counter().finding("x", "X", (say("x"),), nothing, [table("Kind", ())], [], [table("Kind", ())], beside=True)
    assert (found.picture, found.tables, found.folded, found.beside) == (None, (), (), False)
    kept = Counter().finding("x", "X", (say("x"),), rates_picture(review()), [table("Kind", ("A",))], [])
    assert (kept.picture is not None, len(kept.tables)) == (True, 1)


# Pictures


def test_many_quarters_are_named_by_year() -> None:
    few, many = quarter_axis(QUARTERS[:MOST_NAMED_QUARTERS]), quarter_axis(QUARTERS)
    assert len(few["ticktext"]) == MOST_NAMED_QUARTERS
    assert many["ticktext"] == [str(year) for year in range(2016, 2026)]
    assert many["tickvals"] == list(range(0, 40, 4))
    assert narrow_quarter_axis(QUARTERS)["xaxis.ticktext"] == ["2016", "2018", "2020", "2022", "2024"]


def test_a_line_carried_on_for_years_does_not_squash_what_was_seen() -> None:
    found = review().answer.series[0]
    seen = max(point.seen.value or 0 for point in found.points if point.seen is not None)
    far = tuple(replace(point, had_nothing_changed=numbers.rate("x", 1_000 * seen)) for point in found.points)
    drawn = figures_answer.series_picture(replace(found, points=far))
    assert drawn.figure["layout"]["yaxis"]["range"] == [0, pytest.approx(1.05 * 4 * seen)]


def test_one_quarter_has_no_picture_over_time() -> None:
    found = review()
    one = replace(found, rates=replace(found.rates, quarters=found.rates.quarters[-1:]))
    assert over_time(found, rates_picture) is not None
    assert over_time(one, rates_picture) is None


def with_starts(count: int) -> Review:
    """The made-up review with so many units, starting ten days apart."""
    found = review()
    first = found.units.rows[0]
    rows = tuple(
        replace(first, name=f"Ward {i}", program_start=date(2024, 1, 8) + timedelta(days=10 * i)) for i in range(count)
    )
    return replace(found, units=replace(found.units, rows=rows))


def lines(picture: Picture) -> list[dict[str, Any]]:
    shapes: list[dict[str, Any]] = picture.figure["layout"]["shapes"]
    return [shape for shape in shapes if shape["type"] == "line" and shape["x0"] == shape["x1"]]


@pytest.mark.parametrize("draw", [rates_picture, series_picture])
def test_many_starts_are_one_band_and_not_a_curtain_of_lines(draw: Any) -> None:
    panels = 3 if draw is series_picture else 1
    few, many = draw(with_starts(MOST_MARKED_STARTS)), draw(with_starts(48))
    assert len(lines(few)) == panels * MOST_MARKED_STARTS
    assert len(lines(many)) == panels * 2, "the first and the last"
    assert "48 units start" in [note["text"] for note in many.figure["layout"]["annotations"]]


def test_a_long_name_at_a_start_is_cut_and_not_run_off() -> None:
    found = with_starts(2)
    rows = tuple(replace(row, name=f"{'Memory Support ' * 5}{row.name}") for row in found.units.rows)
    drawn = rates_picture(replace(found, units=replace(found.units, rows=rows)))
    named = [note["text"] for note in drawn.figure["layout"]["annotations"] if note["text"].endswith(" starts")]
    assert len(set(named)) == 2, "two names that begin alike still differ"
    assert all(len(text) <= 24 + len(" starts") for text in named)


def test_names_in_the_funnel_never_overprint_each_other_and_never_run_off() -> None:
    found = review().funnel
    unit = found.units[0]
    hours = found.curve[-1][0]
    crowd = tuple(
        replace(unit, name=f"Ward {i:02d}", hours=numbers.hours("x", hours - 1), rate=numbers.rate("x", 9 + i / 20))
        for i in range(30)
    )
    outside = replace(crowd[20], name="Far out", where=funnel.BEYOND_998)
    drawn = funnel.picture(replace(found, units=(*crowd, outside)))
    assert drawn is not None
    names = [note for note in drawn.figure["layout"]["annotations"] if note["text"].startswith(("Ward", "Far"))]
    assert names[0]["text"] == "Far out", "a unit beyond the limits is named first"
    heights = sorted(note["y"] for note in names)
    top = drawn.figure["layout"]["yaxis"]["range"][1]
    assert all(b - a > 0.04 * top for a, b in pairwise(heights))
    assert {note["xanchor"] for note in names} == {"right"}, "to the left of a dot at the right edge"


def test_no_case_at_all_is_the_title_of_the_rates() -> None:
    found = review().rates
    assert found.recent is not None
    none = replace(found.recent.of("handling"), rate=numbers.rate("x", 0.0))
    recent = replace(found.recent, rates=tuple(none if r.series == "handling" else r for r in found.recent.rates))
    assert rates.rates_title(replace(found, recent=recent), "handling").text.startswith(
        "Handling injuries: none in the last four quarters"
    )


# Sentences


def test_a_chance_is_never_nought_and_never_all() -> None:
    shown = [numbers.chance("x", value).shown for value in (0.0001, 0.004, 0.02, 0.98, 0.9999)]
    assert shown == ["under 1%", "under 1%", "2%", "98%", "over 99%"]


def test_nothing_is_avoided_where_nothing_happened() -> None:
    item = review().before_after.primary
    none = numbers.count("x", 0)
    empty = replace(item, now=replace(item.now, events=none), then=replace(item.then, events=none))
    assert change.avoided_sentence(item).text
    assert change.avoided_sentence(empty).text == ""


def test_a_general_fall_is_not_told_of_a_few_weeks() -> None:
    found = review().before_after
    assert found.background is not None
    near = replace(found, background=replace(found.background, years_apart=numbers.years("x", 0.2)))
    assert change.background_sentence(found).text
    assert change.background_sentence(near).text == ""


def test_quarters_without_a_rate_are_told_by_their_reason() -> None:
    found = review().rates
    spans = tuple(replace(span, is_complete=False, reason="hours missing in 4 units") for span in found.quarters)
    text = rates.incomplete_sentence(replace(found, quarters=spans)).text
    assert text == "No rate is printed for 2023-Q1 to 2026-Q2 (hours missing in 4 units)."


def test_hours_of_nobody_known_are_not_called_untrained() -> None:
    found = review().training
    latest = found.of(found.latest)
    shares = tuple(numbers.share("x", share) for share in (0.0, 0.0, 0.0, 0.0, 0.0, 1.0))
    unknown = replace(
        found,
        quarters=tuple(replace(row, shares=shares) if row is latest else row for row in found.quarters),
        match_is_enough=False,
        people_matched=numbers.count("x", 0),
    )
    assert data.coverage_in_short(unknown).text.startswith("For 100% of the hours in")
    assert data.coverage_title(unknown).text.startswith("Training is not known for 100% of the hours")
    assert "None of the people in the training file could be matched" in data.coverage_sentence(unknown).text


def people(matched: int, qualifying: int, never: int, unknown: int) -> str:
    count = {
        "people_matched": matched,
        "qualifying_completions": qualifying,
        "first_completions": qualifying,
        "people_never_trained": never,
        "people_unknown": unknown,
    }
    return data.people_sentence(
        replace(review().training, **{name: numbers.count("x", value) for name, value in count.items()})
    ).text


@pytest.mark.parametrize(
    ("counts", "ending"),
    [
        ((48, 48, 0, 0), "Everybody with hours has a qualifying training on record."),
        ((48, 48, 1, 0), "1 person has hours and no qualifying training on record."),
        ((48, 48, 3, 2), "3 people have hours and no qualifying training on record; for 2 more it is not known."),
        ((0, 48, 0, 0), "who is trained cannot be followed from one file to the other."),
        ((48, 0, 48, 0), "qualifying completion. 48 people have hours and no qualifying training on record."),
    ],
)
def test_who_is_trained_has_no_noughts_in_it(counts: tuple[int, int, int, int], ending: str) -> None:
    assert people(*counts).endswith(ending)


@pytest.mark.parametrize(
    ("never", "says"),
    [(0, "all had a qualifying training"), (30, "nobody had a qualifying training"), (4, "4 had no qualifying")],
)
def test_all_some_and_none_trained(never: int, says: str) -> None:
    none = numbers.count("x", 0)
    found = replace(
        review().due,
        asked=numbers.count("x", 30),
        never_trained=numbers.count("x", never),
        overdue=none,
        due=none,
    )
    assert says in due.due_sentence(found).text


@pytest.mark.parametrize(
    ("look", "note", "says"),
    [
        (2, 0, "The checks found 2 things to look at."),
        (0, 1, "The checks found nothing to look at; 1 is only noted."),
        (1, 3, "The checks found 1 thing to look at; 3 are only noted."),
    ],
)
def test_what_the_checks_found_has_no_noughts_in_it(look: int, note: int, says: str) -> None:
    class Found:
        def finding_count(self, severity: str) -> numbers.Number:
            return numbers.count("x", {"look": look, "note": note}.get(severity, 0))

    text = data.quality_sentence(Found()).text  # type: ignore[arg-type]
    assert text == f"{says} The list names the file and line, never a person."


def test_late_reports_speak_of_a_quarter_only_from_five_cases_on() -> None:
    found = review().late
    few = replace(found, rows=tuple(replace(row, cases=numbers.count("x", 4)) for row in found.rows))
    assert "(from" in late.lag_sentence(found).text
    assert "(from" not in late.lag_sentence(few).text
    quick = replace(found, whole=replace(found.whole, slow=numbers.share("x", 0.0)))
    assert "None takes longer than 7 days" in late.lag_sentence(quick).text


def test_activities_of_one_quarter_and_of_equal_counts() -> None:
    found = review().tasks
    assert len(found.activities) > 1
    one = replace(found, first="2025-Q4", last="2025-Q4")
    assert words_tasks.activities_sentence(one).text.startswith("In 2025-Q4 there were")
    first, second = found.activities[:2]
    tied = replace(found, activities=(first, replace(second, cases=first.cases)))
    drawn = tasks.picture(tied)
    assert drawn is not None
    assert drawn.title.text == f"Handling injuries by what people were doing: {found.total} in all"
    few = replace(tied, total=numbers.count("x", 2 * int(first.cases.value or 0)))
    assert ". They came from " in words_tasks.activities_sentence(few).text


def test_long_names_are_cut_where_they_differ() -> None:
    east, west = (
        f"Center for Rehabilitation and Memory Support, {side} Building, Third Floor" for side in ("East", "West")
    )
    short = shortened([east, west, "Short stay", "Centre" * 8], 24)
    assert short[east] == "Center f…East Building,…"
    assert short[west] == "Center f…West Building,…"
    assert short["Short stay"] == "Short stay"
    assert short["Centre" * 8] == "CentreCentreCentreCentr…"
    assert all(len(name) <= 24 for name in short.values())
