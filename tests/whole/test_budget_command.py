"""The budget command prints the case with other figures and leaves the last review alone; bad money is refused."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path

import pytest

from handling_review import starter
from handling_review.cli import main

MONEY = """
[money]
year = 2026
owner = "office"
stated_on = 2026-07-01
cost_low = 3000
cost_base = 8000
cost_high = 16000
[[money.proposals]]
name = "Lifts"
unit = "North"
equipment = "ceiling_lift"
quantity = 2
unit_cost = 5000
share_addressed = 0.5
reduction_low = 0.1
reduction_base = 0.3
reduction_high = 0.5
source = "pilot"
owner = "lead"
stated_on = 2026-07-01
"""


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return starter.copy_sample(tmp_path_factory.mktemp("budget") / "sample")


def printed(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    code = main(list(arguments))
    out = capsys.readouterr()
    return code, out.out, out.err


def fingerprint(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_another_figure_changes_the_print_and_nothing_else(
    sample_review: tuple[Path, Path], sample: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = sample.parent.parent / "review"
    shutil.copytree(sample_review[1], out)
    before = {**fingerprint(out), **fingerprint(sample.parent)}
    capsys.readouterr()
    code, plain, _ = printed(capsys, "budget", str(sample))
    assert code == 0
    assert "What the program has been worth" in plain
    assert "Ceiling lifts, Dogwood" in plain
    code, other, _ = printed(
        capsys, "budget", str(sample), "--set", "proposals.1.quantity=1", "--set", "money.indirect_multiplier=1"
    )
    assert code == 0
    assert "With proposals.1.quantity=1" in other
    assert "USD 7,200" in other
    assert "USD 7,200" not in plain
    assert {**fingerprint(out), **fingerprint(sample.parent)} == before
    assert sorted(path.name for path in sample.parent.parent.iterdir()) == ["review", "sample"]


@pytest.mark.parametrize(
    ("change", "code", "words"),
    [
        ("money.cost_base", 2, "write KEY=VALUE"),
        ("thresholds.privacy_cell=1", 2, "name a key of [money]"),
        ("proposals.9.quantity=1", 2, "has 3 proposals"),
        ("proposals.0.quantity=1", 2, "has 3 proposals"),
        ("money.proposals=1", 2, "name a key of [money]"),
        ("money.owners=me", 3, "Did you mean 'owner'?"),
        ("money.cost_base=9000", 3, "together"),
        ("proposals.1.reduction_base=2", 3, "must rise from 0 to 1"),
        ("proposals.1.quantity=many", 3, "must be a whole number"),
        ("money.insured=maybe", 3, "self_insured"),
    ],
)
def test_a_change_that_cannot_be_is_one_sentence(
    sample: Path, capsys: pytest.CaptureFixture[str], change: str, code: int, words: str
) -> None:
    found, out, err = printed(capsys, "budget", str(sample), "--set", change)
    assert found == code
    assert out == ""
    assert words in err
    assert "Traceback" not in err


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('owner = "lead"\n', "", "lacks owner"),
        ("quantity = 2", "quantity = 0", "must lie between 1 and"),
        ("cost_low = 3000\n", "", "together"),
        ('owner = "office"\n', "", "give their owner, stated_on and year too"),
        ("share_addressed = 0.5", "share_addressed = 1.5", "must lie between 0 and 1"),
        ('unit = "North"', 'units = "North"', "Did you mean 'unit'?"),
    ],
)
def test_money_in_the_program_file_is_checked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], old: str, new: str, words: str
) -> None:
    from whole import facility

    assert old in MONEY
    program = facility.write(tmp_path / "files", program=facility.PROGRAM + MONEY.replace(old, new, 1))
    code, _, err = printed(capsys, "check", str(program))
    assert code == 3
    assert words in err


def test_a_life_that_is_not_stated_is_the_horizon(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from whole import facility

    program = facility.write(tmp_path / "files", program=facility.PROGRAM + MONEY)
    code, out, _ = printed(capsys, "budget", str(program), "--set", "money.horizon_years=7")
    assert code == 0
    assert "Lifts (North)" in out
