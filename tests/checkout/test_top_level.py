"""What stands at the top of the checkout, and that README.md tells the truth about the commands."""

from __future__ import annotations

import argparse
import re
import subprocess
import tomllib
import zipfile
from pathlib import Path

import pytest

from handling_review import files
from handling_review.arguments import parser

ROOT = Path(__file__).resolve().parents[2]
ALLOWED = {"README.md", "DEVELOPERS.md", "pyproject.toml", "pipeline", "schemas", "tests", "sample_data", "reports"}
README = (ROOT / "README.md").read_text(encoding="utf-8")


def listed() -> list[str]:
    done = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True)
    return done.stdout.splitlines()


def test_only_the_agreed_entries_stand_at_the_top() -> None:
    assert {name.split("/")[0] for name in listed() if not name.startswith(".")} <= ALLOWED


def test_the_job_stands_in_the_first_paragraph() -> None:
    first = README.split("\n\n")[1]
    for word in ("injury log", "hours worked", "training completions", "200,000 hours", "before and after training"):
        assert word in first


def test_every_command_and_option_is_in_the_readme() -> None:
    (commands,) = (a for a in parser()._actions if isinstance(a, argparse._SubParsersAction))
    for name, command in commands.choices.items():
        assert f"`{name}" in README
        for action in command._actions:
            for option in action.option_strings:
                assert option in ("-h", "--help") or option in README, f"{name} {option}"


def test_every_exit_code_is_in_the_readme() -> None:
    line = next(line for line in README.splitlines() if line.startswith("Exit codes:"))
    for code in (0, 1, 2, 3, 4, 5, 70):
        assert re.search(rf"\b{code} ", line)


def test_both_commands_are_one_line_each() -> None:
    for mark in ("demo", "test"):
        block = README.split(f"<!-- {mark} command -->\n```sh\n")[1].split("```")[0]
        assert block.count("\n") == 1
        assert block.startswith("python3 -m venv .venv && ")


def test_each_dependency_has_its_reason() -> None:
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    project = tomllib.loads(text)["project"]
    for wanted in (
        *project["dependencies"],
        *(one for extra in project["optional-dependencies"].values() for one in extra),
    ):
        line = next(line for line in text.splitlines() if line.startswith(f'  "{wanted}"'))
        assert re.search(r"# \w+", line), wanted
        assert ">=" in wanted


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> zipfile.ZipFile:
    import sys

    out = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", str(out), str(ROOT)],
        capture_output=True,
        check=True,
    )
    return zipfile.ZipFile(next(out.glob("*.whl")))


def test_the_wheel_holds_one_package(wheel: zipfile.ZipFile) -> None:
    tops = {name.split("/")[0] for name in wheel.namelist()}
    assert {top for top in tops if not top.endswith(".dist-info")} == {"handling_review"}


@pytest.mark.parametrize("folder", ["schemas", "reports", "sample_data", "sql"])
def test_the_wheel_holds_every_shipped_file(wheel: zipfile.ZipFile, folder: str) -> None:
    inside = {Path(n).name: n for n in wheel.namelist() if n.startswith(f"handling_review/{folder}/")}
    wanted = [name for name in files.names(folder) if not name.endswith(".png")]
    assert wanted
    for name in wanted:
        assert wheel.read(inside[name]) == files.read_bytes(folder, name)
    assert "handling_review/py.typed" in wheel.namelist()
