"""The program file: defaults, refusals by name, and paths."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from handling_review.problems import ProgramProblem
from handling_review.program import read_program

FILES = '[files]\nincidents = "i.csv"\nhours = "h.csv"\ntraining = "t.csv"\n'


def written(folder: Path, text: str) -> Path:
    path = folder / "program.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_program_with_files_only_has_every_default(tmp_path: Path) -> None:
    program = read_program(written(tmp_path, FILES))
    assert program.training.washout_days == 30
    assert program.training.qualifying_statuses == ("completed", "passed")
    assert program.analysis.series == "handling"
    assert program.analysis.confidence == 0.95
    assert program.review.fiscal_year_start_month == 1
    assert program.files["hours"] == (tmp_path.resolve() / "h.csv",)


def test_values_are_taken_over(tmp_path: Path) -> None:
    text = FILES + (
        "[review]\nstart = 2024-07-01\n[training]\nwashout_days = 0\nrefresher_months = 12\n"
        '[columns.hours]\nhours = "Stunden"\n[codes.incidents.outcome]\n"LT" = "days_away"\n'
        '[units.aliases]\n"4W" = "West"\n[dates]\nhours = "mdy"\n[decimal_comma]\nhours = true\n'
        '[pay_codes]\nworked = ["REG"]\n'
    )
    program = read_program(written(tmp_path, text))
    assert program.review.start == date(2024, 7, 1)
    assert (program.training.washout_days, program.training.refresher_months) == (0, 12)
    assert program.columns["hours"]["hours"] == "Stunden"
    assert program.codes["incidents"]["outcome"]["LT"] == "days_away"
    assert program.unit_aliases == {"4W": "West"}
    assert program.dates == {"hours": "mdy"}
    assert program.decimal_comma == {"hours": True}
    assert program.pay_codes.worked == ("REG",)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            FILES + "[training]\nwashout_dys = 3\n",
            "unknown key in [training] 'washout_dys'. Did you mean 'washout_days'?",
        ),
        (FILES + "[trainings]\nx = 1\n", "unknown table 'trainings'. Did you mean 'training'?"),
        (FILES + '[training]\nwashout_days = "30"\n', "[training] washout_days must be a whole number; found '30'."),
        (FILES + "[training]\nwashout_days = true\n", "must be a whole number"),
        (FILES + "[training]\nwashout_days = -1\n", "must lie between 0 and 730; found -1."),
        (FILES + '[review]\nstart = "2024-01-01"\n', "must be a date such as 2025-12-31 (no quotes)"),
        (FILES + "[review]\nstart = 2024-02-01\nend = 2024-01-01\n", "is after end"),
        (FILES + "[review]\nend = 2024-02-01\nas_of = 2024-01-01\n", "cannot cover days after its exports were taken"),
        (FILES + "[analysis]\nconfidence = 95\n", "[analysis] confidence must lie between 0.5 and 0.999"),
        (FILES + '[analysis]\nseries = "handlin"\n', "Did you mean 'handling'?"),
        (FILES + '[dates]\nhours = "us"\n', "[dates] hours must be one of 'iso', 'mdy', 'dmy'"),
        (FILES + '[dates]\nhors = "mdy"\n', "Did you mean 'hours'?"),
        (FILES + '[pay_codes]\nworked = ["REG"]\nnot_worked = ["reg"]\n', "lists 'REG' under more than one meaning"),
        (FILES + "[pay_codes]\nworked = [1]\n", "must be a list of texts"),
        (FILES + '[codes.incidents]\noutcome = "x"\n', "must be lines such as"),
        ('[files]\nincidents = "i.csv"\nhours = "h.csv"\n', "does not name training"),
        ("[files]\nincidents = 3\n", "must be a file name, a folder, or a list of these"),
        ("[files\n", "not valid TOML"),
    ],
)
def test_what_cannot_be_used_is_refused_by_name(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(ProgramProblem) as problem:
        read_program(written(tmp_path, text))
    assert said in str(problem.value)
    assert problem.value.exit_code == 3


def test_a_missing_program_file_says_how_to_get_one(tmp_path: Path) -> None:
    with pytest.raises(ProgramProblem, match="handling-review new"):
        read_program(tmp_path / "nothing.toml")


def test_a_program_file_that_is_not_utf8_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "program.toml"
    path.write_bytes(b'[facility]\nname = "St. Mary\x92s"\n')
    with pytest.raises(ProgramProblem, match="byte 28 is not UTF-8"):
        read_program(path)


def test_the_settings_hash_follows_settings_and_not_the_place(tmp_path: Path) -> None:
    one, other = tmp_path / "a", tmp_path / "b"
    one.mkdir()
    other.mkdir()
    same = read_program(written(one, FILES)).settings_hash()
    assert read_program(written(other, FILES)).settings_hash() == same
    assert read_program(written(other, FILES + "[training]\nwashout_days = 31\n")).settings_hash() != same
