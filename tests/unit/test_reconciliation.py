"""The review beside the posted annual summary, in numbers and in words; units joined by a change."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from handling_review.evidence import reconciliation
from handling_review.evidence.assemble import assemble
from handling_review.evidence.tables import ResultTables
from handling_review.page.build import render
from handling_review.page.words.data import joined_units_sentence, reconciliation_sentence
from spec import made_up_tables as made_up
from spec.made_up_pages import page_of

COLUMNS = ["year", "figure", "posted", "in_review", "set_aside", "is_whole_year"]


def gathered(*rows: tuple[object, ...]) -> reconciliation.Reconciliation:
    frame = pd.DataFrame(list(rows), columns=COLUMNS)
    return reconciliation.gather(ResultTables.from_dict(made_up.frames() | {"reconciliation": frame}))


def said(*rows: tuple[object, ...]) -> str:
    return reconciliation_sentence(gathered(*rows)).text


def test_figures_that_agree() -> None:
    # Hours agree within half a percent: 100,000 x 0.005 = 500.
    rows = [(2024, "deaths", 0, 0, 0, True), (2024, "hours", 100_000, 100_500, 0, True)]
    assert [f.agrees for f in gathered(*rows).figures] == [True, True]
    assert said(*rows) == "For 2024 the review agrees with the posted summary in every figure."


def test_a_figure_that_differs_is_named_with_both_counts_and_the_rows_set_aside() -> None:
    text = said((2024, "other_cases", 12, 11, 1, True), (2024, "hours", 100_000, 100_501, 0, True))
    assert text == (
        "For 2024 the review differs from the posted summary. Other recordable cases: posted 12, in the review 11 "
        "(difference −1). 1 case of that kind and year stands in a row that could not be used. For 2024 the review "
        "differs from the posted summary. Hours worked: posted 100,000, in the review 100,501 (difference 501)."
    )


def test_years_that_agree_are_told_from_the_year_that_does_not() -> None:
    text = said((2023, "deaths", 0, 0, 0, True), (2024, "deaths", 0, 1, 0, True), (2025, "deaths", 0, 0, 0, True))
    assert text == (
        "For 2023 and 2025 the review agrees with the posted summary in every figure. "
        "For 2024 it differs. Deaths: posted 0, in the review 1 (difference 1)."
    )


def test_a_year_that_is_covered_in_part_is_not_compared() -> None:
    rows = [(2026, "deaths", 0, 5, 0, False)]
    assert gathered(*rows).figures == ()
    assert said(*rows) == "The review does not cover all of 2026, so that summary cannot be compared."


def test_without_a_posted_summary_nothing_is_said() -> None:
    assert said() == ""
    options = made_up.frames() | {"reconciliation": pd.DataFrame(columns=COLUMNS)}
    program = made_up.program()
    page = render(assemble(ResultTables.from_dict(options), made_up.scope(program), program))
    assert "posted annual summary" not in page


def test_the_page_has_the_table_and_the_sentence() -> None:
    page = page_of(made_up.review())
    assert "Does the review agree with the posted annual summary?" in page
    assert 'id="table-posted"' in page


def test_joined_units_are_named_with_the_reason() -> None:
    text = joined_units_sentence([{"on": "2025-01-01", "old": ["2 East", "2 West"], "new": ["2 North"]}]).text
    assert text.startswith(
        "2 East, 2 West and 2 North count as one unit throughout, because of the change on 2025-01-01"
    )
    assert joined_units_sentence([]).text == ""


def test_the_page_names_the_joined_units_only_where_there_are_some() -> None:
    program = made_up.program()
    changes = [{"on": "2025-01-01", "old": ["2 East", "2 West"], "new": ["2 North"]}]
    scope = replace(made_up.scope(program), settings=program.settings() | {"unit_changes": changes})
    assert "2 East, 2 West and 2 North count as one unit" in render(assemble(made_up.tables(), scope, program))
    assert "count as one unit" not in page_of(made_up.review())
