"""Several facilities from what each hands on: three worked by hand, what is refused, and what is kept back."""

from __future__ import annotations

import json
import re
from collections import defaultdict
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from handling_review.cli import main
from handling_review.evidence.aggregates import TOGETHER, Aggregates, Cell, as_json
from handling_review.evidence.tally import ALL_SERIES
from handling_review.stats import ratios


def facility(name: str, after: int, before: int, hours: float = 400_000.0, **changed: object) -> Aggregates:
    """A facility with as many hours before training as after, all its cases handling injuries with days away."""
    cells = [
        Cell(series, TOGETHER, TOGETHER, phase, events if series not in ("non_handling", "first_aid") else 0, hours)
        for phase, events in (("before", before), ("after", after))
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


def test_the_sample_hands_on_what_its_review_counts(sample_review: tuple[Path, Path], tmp_path: Path) -> None:
    _, out = sample_review
    told = json.loads((out / "facility-aggregates.json").read_text(encoding="utf-8"))
    sums: dict[tuple[str, str], list[float]] = defaultdict(lambda: [0, 0.0])
    for series, _, _, phase, events, hours in told["cells"]:
        sums[phase, series][0] += events
        sums[phase, series][1] += hours
    wanted: dict[tuple[str, str], list[float]] = defaultdict(lambda: [0, 0.0])
    phases = pd.read_csv(out / "tables" / "phases.csv")
    for row in phases.to_dict("records"):
        phase = row["phase"] if row["phase"] in ("before", "after") else "neither"
        wanted[phase, row["series"]][0] += row["cases"]
        wanted[phase, row["series"]][1] += row["hours_worked"]
    assert len(wanted) == 15
    for place, (events, hours) in wanted.items():
        assert sums[place][0] == events
        assert sums[place][1] == pytest.approx(hours, abs=0.01)
    same = {"start": date(2023, 1, 1), "refresher_months": 24, "quarters": tuple(told["quarters"])}
    paths = [str(out), *written(tmp_path / "more", facility("Ash", 14, 28, **same))]
    assert main(["combine", *paths, "--out", str(tmp_path / "system")]) == 0


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"series": "dart"}, r"series \(\[analysis\] series\): dart in Beech; handling in Ash, Cherry"),
        ({"washout_days": 14}, r"washout .* 14 days in Beech; 30 days in Ash, Cherry"),
        ({"start": date(2024, 4, 1)}, r"first day .* 2024-01-01 in Ash, Cherry; 2024-04-01 in Beech"),
        ({"end": date(2026, 3, 31)}, r"last day .* 2026-03-31 in Beech"),
        ({"quarters": ("2024-Q1", "2024-Q3")}, r"complete quarters: 2024-Q1 in Ash, Cherry; 2024-Q1, 2024-Q3 in Beech"),
        ({"confidence": 0.9}, r"range \(\[analysis\] confidence\): 0\.9 in Beech; 0\.95 in Ash, Cherry"),
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
        "negative": (text.replace(", 4, 400000.0]", ", -4, 400000.0]"), "a count from 0 to 1,000,000 was expected"),
        "a part of a case": (text.replace(", 4, 400000.0]", ", 4.5, 400000.0]"), "a count from 0"),
        "infinite": (text.replace(", 4, 400000.0]", ", 4, Infinity]"), "Infinity is no number"),
        "true": (text.replace(", 4, 400000.0]", ", true, 400000.0]"), "a count from 0"),
        "not a number": (text.replace(", 4, 400000.0]", ", NaN, 400000.0]"), "NaN is no number"),
        "hours not a number": (text.replace(", 4, 400000.0]", ", 4, NaN]"), "NaN is no number"),
        "digits without end": (text.replace(", 4, 400000.0]", f", {'9' * 6000}, 400000.0]"), "damaged"),
        "a huge count": (text.replace(", 4, 400000.0]", f", {10**30}, 400000.0]"), "a count from 0 to 1,000,000"),
        "huge hours": (text.replace(", 4, 400000.0]", ", 4, 1e300]"), "no more than people can work"),
        "a text for a count": (text.replace(", 4, 400000.0]", ', "4", 400000.0]'), "a count from 0"),
        "a cell too short": (text.replace(", 4, 400000.0]", ", 4]"), "a cell has six entries"),
        "a cell that is a name": (json.dumps({**told, "cells": ["handling"]}), "a cell has six entries"),
        "cells by name": (json.dumps({**told, "cells": {"a": 1}}), "a list was expected"),
        "no cell at all": (json.dumps({**told, "cells": []}), "no cell"),
        "a cell twice": (json.dumps({**told, "cells": [*told["cells"], told["cells"][0]]}), "stands there twice"),
        "parts over the whole": (text.replace('"after", 4, 400000.0]', '"after", 9, 400000.0]', 1), "of the kind that"),
        "other hours": (text.replace('"after", 4, 400000.0]', '"after", 4, 300000.0]', 1), "hours are not the same"),
        "odd quarter": (text.replace(f'"{TOGETHER}", "{TOGETHER}"', f'"spring", "{TOGETHER}"', 1), "a quarter such as"),
        "other quarter": (text.replace(f'"{TOGETHER}", "{TOGETHER}"', f'"1999-Q1", "{TOGETHER}"', 1), "not among the"),
        "odd phase": (text.replace('"after", 4', '"later", 4'), "one of before"),
        "odd series": (json.dumps({**told, "definitions": {**told["definitions"], "series": ["dart"]}}), "one of "),
        "no definitions": (json.dumps({**told, "definitions": "as usual"}), "named values were expected"),
        "odd confidence": (
            json.dumps({**told, "definitions": {**told["definitions"], "confidence": 95}}),
            "confidence",
        ),
        "odd day": (json.dumps({**told, "period_start": "last spring"}), "a day such as"),
        "backwards": (json.dumps({**told, "period_start": "2027-01-01"}), "ends before it starts"),
        "no name": (json.dumps({**told, "facility": " \u200b"}), "a text was expected"),
        "a number for a name": (json.dumps({**told, "facility": 7}), "a text was expected"),
        "a long name": (json.dumps({**told, "facility": "A" * 10_000}), "at most 200 letters"),
        "a command in it": (json.dumps({**told, "facility": ["\x1b[2J"]}), "a text was expected"),
        "deep": ("[" * 100_000, "no aggregates file"),
        "latin": ("é", "no aggregates file"),
        "empty": ("", "not whole"),
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
    assert "\x1b" not in err
    assert len(err) < 600
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
    assert len(files) == 6
    for file in files:
        assert (tmp_path / "one" / file).read_bytes() == (tmp_path / "two" / file).read_bytes()
