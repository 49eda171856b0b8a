"""Several facilities from what each hands on: three worked by hand, what is refused, and what is kept back."""

from __future__ import annotations

import json
import random
import re
from collections import defaultdict
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import linprog

from handling_review.cli import main
from handling_review.evidence.aggregates import TOGETHER, Aggregates, Cell, as_json, coarsened, is_small
from handling_review.evidence.tally import ALL_SERIES, Tally
from handling_review.stats import ratios


def facility(name: str, after: int, before: int, hours: float = 400_000.0, **changed: object) -> Aggregates:
    """A facility with as many hours before training as after, all its cases handling injuries with days away."""
    cells = [
        Cell(
            series, TOGETHER, TOGETHER, phase, side, events if series not in ("non_handling", "first_aid") else 0, hours
        )
        for phase, side, events in (("before", "before", before), ("after", "after", after))
        for series in ALL_SERIES
    ]
    told: dict[str, object] = {
        "facility": name, "run_id": "0123456789ab", "as_of": date(2026, 10, 10), "start": date(2024, 1, 1),
        "end": date(2026, 6, 30), "tool_version": "0.1.0", "series": "handling", "washout_days": 30,
        "refresher_months": None, "few_below": 5, "confidence": 0.95, "quarters": ("2024-Q1",), "cells": tuple(cells),
    }  # fmt: skip
    return Aggregates(**{**told, **changed})  # type: ignore[arg-type]


def written(folder: Path, *found: Aggregates) -> list[str]:
    folder.mkdir(exist_ok=True)
    paths = []
    for one in found:
        path = folder / f"{re.sub('[^a-z]', '-', one.facility.lower())}.json"
        path.write_text(as_json(one), encoding="utf-8")
        paths.append(str(path))
    return paths


def test_three_facilities_worked_by_hand(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Equal hours on both sides: the one ratio for all is cases after over cases before, (4+6+5) / (8+10+12) = 0.5,
    and its exact limits are those of 15 cases against 30 in equal hours."""
    paths = written(tmp_path / "in", facility("Ash", 4, 8), facility("Beech", 6, 10), facility("Cherry", 5, 12))
    assert main(["combine", *paths, "--out", str(tmp_path / "out"), "--name", "Three houses"]) == 0
    assert "Facilities: 3" in capsys.readouterr().out
    table = pd.read_csv(tmp_path / "out" / "tables" / "pooled_ratios.csv").set_index("series").loc["handling"]
    assert (table["facilities"], table["cases_after"], table["cases_before"]) == (3, 15, 30)
    assert (table["hours_worked_after"], table["hours_worked_before"]) == (1_200_000, 1_200_000)
    assert table["common_rate_ratio"] == pytest.approx(0.5, rel=1e-9)
    exact = ratios.rate_ratio(15, 1_200_000, 30, 1_200_000, method="exact")
    assert table["common_rate_ratio_lower_95"] == pytest.approx(exact.lower, rel=1e-7)
    assert table["common_rate_ratio_upper_95"] == pytest.approx(exact.upper, rel=1e-7)
    assert table["average_rate_ratio"] == pytest.approx(0.5, abs=0.01)
    own = pd.read_csv(tmp_path / "out" / "tables" / "facilities.csv").set_index("facility")
    assert own["rate_ratio"].to_dict() == pytest.approx({"Ash": 4 / 8, "Beech": 6 / 10, "Cherry": 5 / 12})
    # 12, 16 and 17 cases in 800,000 hours each: 3.0, 4.0 and 4.25 per 200,000 hours.
    rates = own["whole_period_rate_per_200k_hours"].to_dict()
    assert rates == pytest.approx({"Ash": 3.0, "Beech": 4.0, "Cherry": 4.25})
    page = (tmp_path / "out" / "system-review.html").read_text(encoding="utf-8")
    assert "Three houses" in page
    assert "15" in page


def test_the_sample_hands_on_what_its_review_counts(tmp_path: Path) -> None:
    assert main(["demo", str(tmp_path / "demo")]) == 0
    told = json.loads((tmp_path / "demo" / "facility-aggregates.json").read_text(encoding="utf-8"))
    sums: dict[tuple[str, str], list[float]] = defaultdict(lambda: [0, 0.0])
    for series, _, _, phase, _, events, hours in told["cells"]:
        sums[phase, series][0] += events
        sums[phase, series][1] += hours
    phases = pd.read_csv(tmp_path / "demo" / "tables" / "phases.csv")
    for row in phases.to_dict("records"):
        events, hours = sums[row["phase"], row["series"]]
        assert events == row["cases"]
        assert hours == pytest.approx(row["hours_worked"], abs=0.01)
    paths = [str(tmp_path / "demo"), *written(tmp_path / "more", same_period(facility("Ash", 14, 28)))]
    assert main(["combine", *paths, "--out", str(tmp_path / "system")]) == 0


def same_period(one: Aggregates) -> Aggregates:
    return facility(one.facility, 14, 28, start=date(2023, 1, 1), end=date(2026, 6, 30), refresher_months=24)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"series": "dart"}, r"series \(\[analysis\] series\): dart in Beech; handling in Ash, Cherry"),
        ({"washout_days": 14}, r"washout .* 14 days in Beech; 30 days in Ash, Cherry"),
        ({"start": date(2024, 4, 1)}, r"first day .* 2024-01-01 in Ash, Cherry; 2024-04-01 in Beech"),
        ({"end": date(2026, 3, 31)}, r"last day .* 2026-03-31 in Beech"),
    ],
)
def test_unlike_definitions_are_refused_by_name(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], changed: dict[str, object], said: str
) -> None:
    paths = written(
        tmp_path / "in", facility("Ash", 4, 8), facility("Beech", 6, 10, **changed), facility("Cherry", 5, 9)
    )
    assert main(["combine", *paths, "--out", str(tmp_path / "out")]) == 4
    assert re.search(said, capsys.readouterr().err)
    assert not (tmp_path / "out").exists()


def damaged(text: str) -> dict[str, tuple[str, str]]:
    """Ways in which a file may arrive broken: its text, and what must be said."""
    told = json.loads(text)
    return {
        "cut off": (text[: len(text) // 2], "not whole"),
        "other json": ('{"a": 1}', "no aggregates file"),
        "a list": ("[1, 2]", "no aggregates file"),
        "newer": (json.dumps({**told, "format_version": 2}), "format version 2"),
        "no cells": (json.dumps({k: v for k, v in told.items() if k != "cells"}), "no 'cells'"),
        "negative": (text.replace(", 4, 400000.0]", ", -4, 400000.0]"), "a count was expected"),
        "a part of a case": (text.replace(", 4, 400000.0]", ", 4.5, 400000.0]"), "a count was expected"),
        "no hours": (text.replace(", 4, 400000.0]", ", 4, 0]"), "cases and no hours"),
        "infinite": (text.replace(", 4, 400000.0]", ", 4, Infinity]"), "hours must be 0 or more"),
        "true": (text.replace(", 4, 400000.0]", ", true, 400000.0]"), "a count was expected"),
        "odd phase": (text.replace('"after", "after"', '"later", "after"'), "one of before"),
        "deep": ("[" * 100_000, "no aggregates file"),
        "latin": ("é", "no aggregates file"),
    }


WAYS = tuple(damaged(as_json(facility("Ash", 4, 8))))


@pytest.mark.parametrize("way", WAYS)
def test_a_broken_file_is_named_and_nothing_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], way: str
) -> None:
    paths = written(tmp_path / "in", facility("Ash", 4, 8), facility("Beech", 6, 10))
    text, said = damaged(Path(paths[0]).read_text(encoding="utf-8"))[way]
    Path(paths[0]).write_text(text, encoding="latin-1" if way == "latin" else "utf-8")
    assert main(["combine", *paths, "--out", str(tmp_path / "out")]) == 4
    err = capsys.readouterr().err
    assert "ash.json" in err
    assert said in err
    assert "Traceback" not in err
    assert not (tmp_path / "out").exists()


def test_one_facility_alone_or_twice_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (path,) = written(tmp_path / "in", facility("Ash", 4, 8))
    assert main(["combine", path, "--out", str(tmp_path / "out")]) == 2
    assert "at least two facilities; 1 found" in capsys.readouterr().err
    (again,) = written(tmp_path / "again", facility("ASH", 4, 8))
    assert main(["combine", path, again, "--out", str(tmp_path / "out")]) == 4
    assert "both are of the same facility" in capsys.readouterr().err
    assert main(["combine", path, str(tmp_path / "none"), "--out", str(tmp_path / "out")]) == 4
    assert "there is no such file or folder" in capsys.readouterr().err


def test_two_combinations_are_the_same_to_the_byte(tmp_path: Path) -> None:
    paths = written(tmp_path / "in", facility("Ash", 4, 8), facility("Beech", 6, 10), facility("Cherry", 0, 12))
    for out, order in (("one", paths), ("two", paths[::-1])):
        assert main(["combine", *order, "--out", str(tmp_path / out)]) == 0
    files = [p.relative_to(tmp_path / "one") for p in (tmp_path / "one").rglob("*") if p.is_file()]
    assert len(files) == 5
    for file in files:
        assert (tmp_path / "one" / file).read_bytes() == (tmp_path / "two" / file).read_bytes()


def drawn(seed: int) -> dict[tuple[str, str], dict[str, Tally]]:
    """The cells of one phase and side of a small facility, series that hold each other drawn one from the other."""
    draw = random.Random(seed)
    places: dict[tuple[str, str], dict[str, Tally]] = {}
    for quarter in [f"2025-Q{i + 1}" for i in range(draw.randint(1, 4))]:
        for unit in "ABCDE"[: draw.randint(1, 5)]:
            mean = draw.choice((0.0, 0.5, 2.0, 9.0))
            handling, other = (sum(draw.random() < mean / 20 for _ in range(20)) for _ in range(2))
            recordable = handling + other + draw.choice((0, 0, 0, 1))
            dart = draw.randint(0, recordable)
            events = {
                "handling": handling, "non_handling": other, "recordable": recordable, "dart": dart,
                "days_away": draw.randint(0, dart), "first_aid": draw.randint(0, 6),
            }  # fmt: skip
            places[quarter, unit] = {series: Tally(events[series], 5000.0) for series in ALL_SERIES}
    return places


@pytest.mark.parametrize("seed", range(60))
def test_totals_stay_and_no_small_cell_leaves_unless_it_is_the_whole(seed: int) -> None:
    places = drawn(seed)
    found = coarsened(places, 5)
    for series in ALL_SERIES:
        assert sum(c[series].events for c in found.values()) == sum(c[series].events for c in places.values())
        assert sum(c[series].hours for c in found.values()) == sum(c[series].hours for c in places.values())
    small = [place for place, counts in found.items() if is_small(counts, 5)]
    assert small in ([], [(TOGETHER, TOGETHER)])
    if small:
        assert len(found) == 1


@pytest.mark.parametrize("seed", range(60))
def test_nobody_can_work_a_small_cell_out_of_what_is_handed_on(seed: int) -> None:
    """An attacker who knows which cells there were, and every number handed on, solves for each small count."""
    places = drawn(seed)
    if len(places) < 2:
        return  # one cell is the whole facility
    found = coarsened(places, 5)
    order = sorted(places)
    at = {
        (place, series): i * len(ALL_SERIES) + j for i, place in enumerate(order) for j, series in enumerate(ALL_SERIES)
    }
    rows, sums = [], []
    for (quarter, unit), counts in found.items():
        inside = [
            place
            for place in order
            if (place == (quarter, unit))
            or (unit == TOGETHER and place not in found and (quarter in (TOGETHER, place[0])))
        ]
        if quarter == TOGETHER:
            apart = {q for q, u in found if u == TOGETHER and q != TOGETHER}
            inside = [place for place in inside if place[0] not in apart]
        for series in ALL_SERIES:
            row = np.zeros(len(at))
            row[[at[place, series] for place in inside]] = 1
            rows.append(row)
            sums.append(counts[series].events)
    holds = []
    for place in order:
        for inner, outer in (("dart", "recordable"), ("days_away", "dart"), ("handling", "recordable")):
            row = np.zeros(len(at))
            row[at[place, inner]], row[at[place, outer]] = 1, -1
            holds.append(row)
    for place in order:
        for series in ALL_SERIES:
            truth = places[place][series].events
            if not 0 < truth < 5:
                continue
            goal = np.zeros(len(at))
            goal[at[place, series]] = 1
            ends = [
                linprog(sign * goal, A_eq=np.array(rows), b_eq=sums, A_ub=np.array(holds), b_ub=np.zeros(len(holds)))
                for sign in (1, -1)
            ]
            low, high = ends[0].fun, -ends[1].fun
            assert low <= truth + 1e-6
            assert high >= truth - 1e-6
            assert high - low >= 1 - 1e-6, (place, series, truth)
