"""The findings on technique audits and on early figures: words by shape, pictures and tables of the same numbers."""

from __future__ import annotations

import json
import re
from typing import Any

import pandas as pd
import pytest

from handling_review import files
from handling_review.evidence import audits as evidence
from handling_review.evidence import rates, training, units
from handling_review.page import audits, leading
from handling_review.page.house import Picture
from handling_review.page.numbered import Counter, Finding
from handling_review.page.sentence import Sentence
from handling_review.page.tables import Table
from spec import made_up_tables as made_up

COLUMNS = ["quarter", "unit", "transfer_type", "item", "met", "not_met", "not_applicable"]
QUARTERS = tuple(f"{year}-Q{q}" for year in (2024, 2025) for q in (1, 2, 3, 4))
HOSTILE = '<a href="https://example.org">x</a><script>alert(1)</script>&'

Cells = tuple[str, str, int, int, int]  # quarter, item, met, not met, not applicable


def gathered(*rows: Cells, complete: tuple[str, ...] = QUARTERS, unit: str = "A") -> evidence.AuditsEvidence:
    table = pd.DataFrame(
        [(quarter, unit, "stand_pivot", item, *counts) for quarter, item, *counts in rows], columns=COLUMNS
    )
    return evidence.gather(table, complete, {unit: HOSTILE}, made_up.program())


FULL: tuple[Cells, ...] = (
    ("2024-Q2", "brakes_set", 48, 32, 5),
    ("2024-Q3", "knees_bent", 40, 40, 0),
    ("2025-Q1", "brakes_set", 70, 10, 0),
    ("2025-Q2", "knees_bent", 40, 40, 0),
    ("2025-Q4", "count_given", 3, 0, 0),
)


def made(found: evidence.AuditsEvidence) -> Finding:
    return audits.finding(found, Counter())


def said(found: evidence.AuditsEvidence) -> str:
    return " ".join(sentence.text for sentence in made(found).says)


def test_every_code_of_the_contract_has_its_words() -> None:
    fields = {f["name"]: f for f in json.loads(files.read_text("schemas", "observations.json"))["fields"]}
    assert list(audits.ITEM) == fields["item"]["constraints"]["enum"]
    assert list(audits.TRANSFER) == fields["transfer_type"]["constraints"]["enum"]
    for words in (*audits.ITEM.values(), *audits.TRANSFER.values()):
        assert re.fullmatch(r"[a-z][a-z0-9 -]+", words), words


def test_the_sentence_comes_first_with_share_range_counts_and_change() -> None:
    text = said(gathered(*FULL))
    # 113 of 163 is 69.3%, 88 of 160 is 55.0%; the intervals are tested against another library elsewhere.
    assert text.startswith(
        "In the last four complete quarters (2025-Q1 to 2025-Q4), 69% of the audited steps were done as taught "
        "(likely between 62% and 76%): 113 of 163."
    )
    assert "That is higher than in the four quarters before, 55%" in text
    assert "a change of 14.3 percentage points (likely between 3.7 and 24.5)" in text


def test_steps_clearly_below_the_whole_are_named_and_no_other() -> None:
    text = said(gathered(*FULL))
    assert "Done less often than the steps together: knees bent (50%, likely between 39% and 61%)." in text
    assert "brakes set (" not in text
    level = gathered(("2025-Q1", "brakes_set", 20, 10, 0), ("2025-Q1", "knees_bent", 21, 9, 0))
    assert "No step stands out" in said(level)


@pytest.mark.parametrize(
    ("rows", "complete", "words"),
    [
        ((), QUARTERS, "nothing to tell of technique audits: no technique audit lies in the days of this review."),
        (FULL, (), "nothing to tell of technique audits: no quarter is complete yet."),
        (FULL, ("2025-Q1",), "In 2025-Q1, 88% of the audited steps"),
        (FULL, ("2025-Q1",), "not yet four complete quarters before these"),
        (FULL, QUARTERS[:3], "In the complete quarters (2024-Q1 to 2024-Q3), 55%"),
        ((("2025-Q1", "brakes_set", 0, 0, 9),), QUARTERS, "none of the 9 audited steps applied."),
        ((("2024-Q1", "brakes_set", 9, 9, 0),), QUARTERS, "No step was audited in the last four complete quarters"),
        ((("2025-Q1", "brakes_set", 2, 1, 0),), QUARTERS, "only 3 audited steps applied, of which 2 were done"),
        ((("2025-Q1", "brakes_set", 9, 1, 0),), QUARTERS, "No audited step applied in the four quarters before"),
        (
            (("2025-Q1", "brakes_set", 9, 1, 0), ("2024-Q1", "brakes_set", 2, 1, 0)),
            QUARTERS,
            "In the four quarters before, only 3 audited steps applied: too few to compare.",
        ),
        (
            (("2025-Q1", "brakes_set", 50, 20, 0), ("2024-Q1", "brakes_set", 48, 22, 0)),
            QUARTERS,
            "A change of this size could be chance: 2.9 percentage points (likely between −12.1 and 17.7).",
        ),
        (
            (("2025-Q1", "brakes_set", 48, 32, 0), ("2024-Q1", "brakes_set", 56, 14, 0)),
            QUARTERS,
            "That is lower than in the four quarters before, 80%",
        ),
        ((("2025-Q1", "brakes_set", 12, 0, 0),), QUARTERS, "100% of the audited steps were done as taught"),
    ],
)
def test_each_shape_has_its_sentence(rows: tuple[Cells, ...], complete: tuple[str, ...], words: str) -> None:
    found = gathered(*rows, complete=complete)
    assert words in said(found)
    finding = made(found)
    assert (finding.picture is None) == (not any(r.now.share or r.then.share for r in found.items))
    for table in (*finding.tables, *finding.folded):
        assert {len(row) for row in table.rows} == {len(table.columns)}
    assert bool(finding.tables) == bool(found.items)


def test_what_the_ranges_leave_out_is_told() -> None:
    how = " ".join(sentence.text for sentence in made(gathered(*FULL)).how)
    for words in ("Wilson", "Newcombe", "a little too narrow (common practice, no source)", "by chance alone"):
        assert words in how
    assert made(gathered()).how == ()


def traces(picture: Picture) -> list[dict[str, Any]]:
    return [dict(trace) for trace in picture.figure["data"]]


def drawn(found: evidence.AuditsEvidence) -> Picture:
    picture = made(found).picture
    assert picture is not None
    return picture


def test_dots_and_whiskers_are_the_published_shares_hollow_for_the_year_before() -> None:
    found = gathered(*FULL)
    before, now = traces(drawn(found))
    assert (now["marker"]["symbol"], before["marker"]["symbol"]) == ("circle", "circle-open")
    for trace, side in ((now, "now"), (before, "then")):
        shares = [share for row in found.items if (share := getattr(row, side).share)]
        assert trace["x"] == pytest.approx([100 * share.value.value for share in shares])
        for at, share in enumerate(shares):
            low = trace["x"][at] - trace["error_x"]["arrayminus"][at]
            high = trace["x"][at] + trace["error_x"]["array"][at]
            assert (low, high) == pytest.approx((100 * share.lower.value, 100 * share.upper.value))
            for number in (share.value, share.lower, share.upper):
                assert number.shown in trace["hovertext"][at]
    axis = drawn(found).figure["layout"]["xaxis"]
    assert axis["range"] == [0, 100]


def test_a_step_with_too_few_judged_is_named_with_its_count_and_no_dot() -> None:
    picture = drawn(gathered(*FULL))
    names = picture.figure["layout"]["yaxis"]["ticktext"]
    assert names == ["brakes set", "count given aloud", "knees bent"]
    texts = {a["text"]: a["y"] for a in picture.figure["layout"]["annotations"]}
    assert texts["3 judged: too few"] == 1
    assert {"last four quarters", "four quarters before", "all steps now 69%"} <= set(texts)
    small = {a["text"] for a in picture.narrow["annotations"]}
    assert {"last four", "before", "3 judged: too few", "all steps now 69%"} == small


def test_the_picture_is_described_with_its_ends() -> None:
    text = drawn(gathered(*FULL)).description.text
    assert "Lowest now: knees bent, 50%; highest: brakes set, 88%." in text


def test_the_table_prints_the_same_numbers_and_the_answer() -> None:
    found = gathered(*FULL)
    table = made(found).tables[0]
    by_step = {str(row[0]): [str(cell) for cell in row[1:]] for row in table.rows}
    brakes = by_step["Brakes set"]
    assert [brakes[0], brakes[1], brakes[2], brakes[5], brakes[6], brakes[-1]] == [
        *("70", "80", "88%", "80", "60%", "higher"),
    ]
    assert by_step["Count given aloud"][2] == "too few"
    assert by_step["Count given aloud"][-1] == "nothing to compare"
    assert [one.caption.split(",")[0] for one in made(found).folded] == [
        "Audited steps by type of transfer",
        "Audited steps by unit",
        "Audited steps by quarter",
    ]
    one_window = made(gathered(*FULL, complete=("2025-Q1",))).tables[0]
    assert "Answer" not in [column.title for column in one_window.columns]


def test_names_from_the_data_cannot_act_in_a_picture() -> None:
    text = json.dumps(drawn(gathered(*FULL)).figure)
    assert "<script" not in text
    assert "<a " not in text


def early(*, with_audits: bool = True, series: str = "handling", **options: Any) -> evidence.LeadingEvidence:
    tables, program = made_up.tables(**options), made_up.program(series=series)
    rate = rates.gather(tables, program)
    names = units.unit_names(tables)
    coverage = training.gather(tables, rate.complete(), names, program)
    rows = FULL if with_audits else ()
    return evidence.leading(gathered(*rows, complete=rate.complete()), coverage, rate, program)


def lead(found: evidence.LeadingEvidence) -> Finding:
    return leading.finding(found, Counter())


def panel(found: evidence.LeadingEvidence, number: int) -> dict[str, Any]:
    picture = lead(found).picture
    assert picture is not None
    return traces(picture)[number - 1]


def test_four_panels_share_the_quarters_and_no_axis_has_two_scales() -> None:
    found = early()
    picture = lead(found).picture
    assert picture is not None
    layout = picture.figure["layout"]
    assert sorted(trace.get("yaxis", "y") for trace in traces(picture)) == ["y", "y2", "y3", "y4"]
    assert not any(axis.get("overlaying") for name, axis in layout.items() if name.startswith("yaxis"))
    assert all(layout[name]["range"][0] == 0 for name in ("yaxis", "yaxis2", "yaxis3", "yaxis4"))
    assert {layout[name]["matches"] for name in ("xaxis", "xaxis2", "xaxis3")} == {"x4"}
    headings = [a["text"] for a in layout["annotations"] if a["text"].startswith("<b>")]
    assert headings == [
        "<b>Share of hours worked with current training</b>",
        "<b>Share of audited steps done as taught</b>",
        "<b>First-aid cases per 200,000 hours</b>",
        "<b>Handling injuries per 200,000 hours, two quarters later</b>",
    ]


def test_points_are_the_published_numbers_at_their_quarter_and_provisional_ones_are_hollow() -> None:
    found = early()
    coverage, steps, first_aid, injuries = (panel(found, number) for number in (1, 2, 3, 4))
    assert coverage["y"] == pytest.approx([100 * row.coverage.value for row in found.rows if row.coverage])
    assert not coverage.get("error_y"), "all hours are counted"
    assert steps["x"] == [made_up.QUARTERS.index(q) for q in ("2024-Q2", "2024-Q3", "2025-Q1", "2025-Q2")]
    for trace, side in ((first_aid, "first_aid"), (injuries, "injuries")):
        shown = [(at, rate) for at, row in enumerate(found.rows) if (rate := getattr(row, side)) and rate.rate]
        assert trace["x"] == [at for at, _ in shown]
        assert trace["y"] == [rate.rate.value for _, rate in shown]
        tops = [y + up for y, up in zip(trace["y"], trace["error_y"]["array"], strict=True)]
        assert tops == pytest.approx([(rate.upper or rate.limit).value for _, rate in shown])
    assert [x for x, s in zip(first_aid["x"], first_aid["marker"]["symbol"], strict=True) if s == "circle-open"] == [13]
    assert [x for x, s in zip(injuries["x"], injuries["marker"]["symbol"], strict=True) if s == "circle-open"] == [11]


def test_whiskers_stay_below_the_names_of_the_panels() -> None:
    picture = lead(early()).picture
    assert picture is not None
    for trace in traces(picture)[1:]:
        layout = picture.figure["layout"]["yaxis" + trace.get("yaxis", "y").removeprefix("y")]
        top = max(y + up for y, up in zip(trace["y"], trace["error_y"]["array"], strict=True))
        assert top <= layout["range"][1] / 1.3
        assert max(layout["tickvals"]) <= layout["range"][1] / 1.3


@pytest.mark.parametrize(
    ("top", "marks"),
    [
        (1.0, [0, 0.5, 1]),
        (3.0, [0, 1, 2, 3]),
        (24.5, [0, 10, 20]),
        (38.7, [0, 10, 20, 30]),
        (41.0, [0, 20, 40]),
        (100.0, [0, 50, 100]),
    ],
)
def test_marks_of_an_axis_are_round_and_at_most_four_steps(top: float, marks: list[float]) -> None:
    assert leading.round_marks(top) == pytest.approx(marks)


def test_what_is_not_known_yet_is_blank_in_picture_and_table() -> None:
    found = early()
    picture = lead(found).picture
    assert picture is not None
    blank = [a["x"] for a in picture.figure["layout"]["annotations"] if a["text"] == "not known"]
    assert blank == [12, 13]
    last = [str(cell) for cell in lead(found).tables[0].rows[-1]]
    assert last[0] == "2026-Q2\u00a0‡"
    assert last[-4:] == ["2026-Q4", "", "", "not yet known"]


def test_a_gap_keeps_its_place_on_the_axis() -> None:
    found = early(missing={"2025-Q3": "hours of 3E stop on 2025-08-16"})
    picture = lead(found).picture
    assert picture is not None
    assert 10 not in traces(picture)[2]["x"]
    bands = [s["x0"] for s in picture.figure["layout"]["shapes"] if s["x0"] == 9.5]
    assert len(bands) == 4, "grey in each panel"


def test_the_sentences_claim_no_cause() -> None:
    text = " ".join(sentence.text for sentence in lead(early()).says)
    assert "stand side by side, and no cause is claimed" in text
    assert "More first-aid reports are often better reporting, not more harm." in text
    assert "first-aid cases per 100 full-time staff a year" in text
    assert "For 2025-Q4 the injuries two quarters later are known." in text
    how = " ".join(sentence.text for sentence in lead(early()).how)
    assert "How well they go together is not measured" in how


def test_without_audits_there_are_three_panels_and_no_empty_column() -> None:
    found = early(with_audits=False)
    finding = lead(found)
    assert finding.picture is not None
    assert len(traces(finding.picture)) == 3
    assert "Three small charts" in finding.picture.description.text
    assert "audit" not in " ".join(sentence.text for sentence in finding.says)
    assert len(finding.tables[0].columns) == 9
    assert {len(row) for row in finding.tables[0].rows} == {9}


def test_without_a_complete_quarter_there_is_a_sentence_alone() -> None:
    every = dict.fromkeys(made_up.QUARTERS, "no hours")
    finding = lead(early(missing=every))
    assert finding.says[0].text == "No quarter is complete yet, so there is nothing to set side by side."
    assert (finding.picture, finding.tables) == (None, ())


@pytest.mark.parametrize("series", ["handling", "recordable", "dart", "days_away"])
def test_long_names_of_a_series_are_broken_on_a_small_screen(series: str) -> None:
    picture = lead(early(series=series)).picture
    assert picture is not None
    headings = [a["text"] for a in picture.narrow["annotations"] if a["text"].startswith("<b>")]
    lines = [line for text in headings for line in re.sub("</?b>", "", text).split("<br>")]
    assert max(len(line) for line in lines) <= 34
    assert picture.narrow["yaxis4.range"][1] >= picture.figure["layout"]["yaxis4"]["range"][1]


def test_numbered_in_turn_and_plain_words_only() -> None:
    count = Counter()
    found = audits.finding(gathered(*FULL), count), leading.finding(early(), count)
    assert [finding.number for finding in found] == [1, 2]
    assert [finding.id for finding in found] == ["audits", "leading"]
    for finding in found:
        parts: list[Sentence | Table | str] = [*finding.says, *finding.how, finding.title]
        text = " ".join(str(part) for part in parts).casefold()
        assert "significant" not in text
        assert "caused" not in text
        assert finding.picture is not None
        assert len(finding.picture.description.text) > 150
