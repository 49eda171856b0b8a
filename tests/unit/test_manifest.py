"""The manifest names every seed; a program comes back from its stored settings whole."""

from __future__ import annotations

import json
import re
from datetime import date
from pathlib import Path

import pytest

import handling_review
from handling_review import manifest
from handling_review.files import read_text
from handling_review.kept import program_from
from handling_review.program import read_program
from handling_review.settings import Period, Program, Proposal, UnitChange
from whole import facility

PACKAGE = Path(handling_review.__file__).parent


def test_every_module_that_draws_random_numbers_is_in_the_manifest() -> None:
    drawing = {
        path.relative_to(PACKAGE).with_suffix("").as_posix().replace("/", ".")
        for folder in ("evidence", "stats", "page", "intake", "store")
        for path in (PACKAGE / folder).rglob("*.py")
        if re.search(r"default_rng|RandomState|^import random$", path.read_text(encoding="utf-8"), re.MULTILINE)
    }
    assert drawing == set(manifest.SEEDED)
    assert manifest.random_seeds().keys() == drawing


def test_the_hash_of_the_tool_stands_for_its_code() -> None:
    assert re.fullmatch("[0-9a-f]{64}", manifest.tool_sha256())


def program_of_the_sample(folder: Path) -> Program:
    (folder / "program.toml").write_text(read_text("sample_data", "program.toml"), encoding="utf-8")
    return read_program(folder / "program.toml")


def program_by_hand(folder: Path) -> Program:
    return read_program(facility.write(folder))


def program_of_everything(folder: Path) -> Program:
    made = program_of_the_sample(folder)
    proposal = Proposal("Lift", "A", "lift", 1, 10.5, 0.5, 0.1, 0.2, 0.3, "trial", "owner", date(2025, 1, 2))
    return Program(
        path=made.path,
        review=Period(start=date(2024, 1, 1)),
        files=made.files,
        dates={"hours": "mdy"},
        decimal_comma={"hours": True},
        codes={"hours": {"source": {"AP": "agency"}}},
        unit_changes=(UnitChange(date(2025, 5, 1), ("A", "Bé"), ("C",)),),
        jobs={"Nurse’s aide": "Nurse aide"},
        proposals=(proposal,),
    )


@pytest.mark.parametrize("make", [program_of_the_sample, program_by_hand, program_of_everything])
def test_a_program_comes_back_from_its_stored_settings(make: object, tmp_path: Path) -> None:
    assert callable(make)
    program = make(tmp_path)
    stored = json.loads(json.dumps(program.settings(), default=str, ensure_ascii=False))
    back = program_from(stored)
    assert back.settings() == program.settings()
    assert back.settings_hash() == program.settings_hash()
    for part in ("review", "training", "money", "charts", "thresholds", "unit_changes", "proposals", "pay_codes"):
        assert getattr(back, part) == getattr(program, part)


def test_settings_of_another_version_are_refused(tmp_path: Path) -> None:
    plain = json.loads(json.dumps(program_by_hand(tmp_path).settings(), default=str))
    plain["training"]["horoscope"] = "lion"
    with pytest.raises(ValueError, match="unknown setting horoscope"):
        program_from(plain)
