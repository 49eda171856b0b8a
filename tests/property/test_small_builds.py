"""A few of each campaign, so that a fault shows before the long run; the commands stand in tests/bench."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from bench import fuzz_builds, fuzz_contracts, fuzz_program
from property import invariants

FIRST, *OTHERS = (
    1,
    6,
    7,
    24,
    1361,
    1554,
)  # quick: built, refused in a sentence; once a fault: a trend run over, one claim


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the first case, built: to be copied."""
    folder = tmp_path_factory.mktemp("first")
    assert fuzz_builds.one_case(1, FIRST, folder)
    return folder


def test_the_first_small_facility_builds_and_everything_holds(first: Path) -> None:
    assert (first / "out" / "program-review.html").exists()


@pytest.mark.parametrize("number", OTHERS)
def test_a_small_facility_builds_and_everything_holds(
    number: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("os.fsync", lambda _: None)  # the campaign sets it too; this puts it back afterwards
    assert fuzz_builds.one_case(1, number, tmp_path)


def test_damaged_program_files_end_in_settings_or_a_sentence(tmp_path: Path) -> None:
    ends = set()
    for number in range(300):
        (tmp_path / str(number)).mkdir()
        ends.add(fuzz_program.one_case(2, number, tmp_path / str(number)))
    assert ends >= {"settings", "a sentence (exit code 3)"}


def test_cells_are_judged_as_an_independent_reading_does(tmp_path: Path) -> None:
    for number in range(60):
        fuzz_contracts.one_case(2, number, tmp_path)


def test_the_comparison_of_cells_can_fail(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fuzz_contracts, "failing_rules", lambda _, values: values.clear(len(values)))
    with pytest.raises(AssertionError, match="is judged"):
        _sixty_cases(tmp_path)


def _sixty_cases(folder: Path) -> None:
    for number in range(60):
        fuzz_contracts.one_case(2, number, folder)


def test_the_invariants_see_what_is_wrong(first: Path, tmp_path: Path) -> None:
    out = Path(shutil.copytree(first / "out", tmp_path / "out"))
    assert invariants.broken(out) == []
    page = out / "program-review.html"
    page.write_text(page.read_text(encoding="utf-8").replace("</main>", "<p>nan</p></main>"), encoding="utf-8")
    numbers = out / "tables" / "numbers.csv"
    lines = numbers.read_text(encoding="utf-8").splitlines()
    numbers.write_text("\n".join([lines[0], *lines[40:]]) + "\n", encoding="utf-8")
    quarters = out / "tables" / "rates_by_quarter.csv"
    rows = quarters.read_text(encoding="utf-8").splitlines()
    quarters.write_text("\n".join(rows[: len(rows) // 2]) + "\n", encoding="utf-8")
    phases = out / "tables" / "phases.csv"
    phases.write_text(phases.read_text(encoding="utf-8").replace("rate_per_200k", "rate_per_many"), encoding="utf-8")
    around = out / "tables" / "quarters_around_start.csv"
    around.write_text("line_per_200k_hours,line_lower_95,line_upper_95\n3,4,5\n", encoding="utf-8")
    said = " ".join(invariants.broken(out))
    for part in (
        *("the page says 'nan'", "which numbers.csv does not hold", "in the phases"),
        "phases.csv: no estimate stands beside lower_",
        "quarters_around_start.csv, line 2: line_lower_95, line_per_200k_hours, line_upper_95 are [4.0, 3.0, 5.0]",
    ):
        assert part in said
