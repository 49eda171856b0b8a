"""Does any damaged program file break the tool? ``python tests/bench/fuzz_program.py`` writes FUZZ_PROGRAM.md.

The starter, the sample and a small program file are damaged at random: bytes, lines, values, tables, keys, nesting.
The only ways out are settings, or a problem of the program file (exit code 3) told in a sentence; paths never lead out
of the folder, and settings can be hashed.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from functools import cache
from importlib.metadata import version
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))

from bench.campaign import command
from handling_review import files
from handling_review.problems import ProgramProblem, UsageProblem
from handling_review.program import read_program
from whole import facility

RESULT = Path(__file__).with_name("FUZZ_PROGRAM.md")
VALUES = (
    "true", "false", "0", "-1", "1.5", "1e999", "nan", "-inf", "9" * 5000, "0x1F", '""', '"../../etc/passwd"',
    '"/etc/passwd"', "[]", "[[]]", '["a", 1]', "{}", '{ a = "b" }', "2025-01-01", "2025-02-30", "12:00:00",
    "2025-01-01T00:00:00Z", '"\\u0000"', '"' + "x" * 9000 + '"', "'''\n\n'''", '"{{ 7*7 }}"', '"$(touch pwned)"',
    "[" * 3000, "[" * 300 + "]" * 300, '"\'; DROP TABLE raw_hours; --"', "9223372036854775808", '["hours.csv", ""]',
)  # fmt: skip
LINES = (
    "[[facility]]", "[files]", "[[files]]", "[files.hours]", "[money.proposals]", "[[money.proposals]]", "[units]",
    'units = "x"', "codes = 1", "columns = []", "[dates.hours]", "[codes.hours]", "[[units.changes]]", "jobs = [1]",
    "[privacy]", "pseudonymise = 1", 'secret_file = "../x"', "allow_outside = 1", "[a.b.c.d.e]", "= 1", "\x00", "﻿",
    "[ids]\nzero_pad = 99", "[thresholds]\nprivacy_cell = -1", "decimal_comma = { hours = 1 }", "review = 2025-01-01",
)  # fmt: skip
Damage = Callable[[str, np.random.Generator], str]


@cache
def originals() -> tuple[str, ...]:
    """Whole program files: the starter, the sample's (the richest, so twice), a small one."""
    sample = files.read_text("sample_data", "program.toml")
    return files.read_text("reports", "program.toml"), sample, sample, facility.PROGRAM


def _value(text: str, random: np.random.Generator) -> str:
    lines = text.split("\n")
    with_value = [place for place, line in enumerate(lines) if "=" in line]
    if with_value:
        place = with_value[random.integers(len(with_value))]
        lines[place] = lines[place].split("=")[0] + "= " + VALUES[random.integers(len(VALUES))]
    return "\n".join(lines)


def _line(text: str, random: np.random.Generator) -> str:
    lines = text.split("\n")
    lines.insert(int(random.integers(len(lines) + 1)), LINES[random.integers(len(LINES))])
    return "\n".join(lines)


def _key(text: str, random: np.random.Generator) -> str:
    keys = re.findall(r"^[\w]+(?= =)", text, flags=re.M)
    if len(keys) < 2:
        return text
    one, other = keys[random.integers(len(keys))], keys[random.integers(len(keys))]
    return text.replace(f"\n{one} =", f"\n{other} =", 1)


def _cut(text: str, random: np.random.Generator) -> str:
    one, other = sorted(random.integers(len(text) + 1, size=2))
    return text[:one] + text[other:]


def _move(text: str, random: np.random.Generator) -> str:
    lines = text.split("\n")
    one, other = random.integers(len(lines), size=2)
    lines[one], lines[other] = lines[other], lines[one]
    return "\n".join(lines)


def _letter(text: str, random: np.random.Generator) -> str:
    at = int(random.integers(len(text) + 1))
    return text[:at] + chr(int(random.choice([34, 39, 91, 93, 61, 10, 35, 46, 123, 92, 0x202E, 0xE9]))) + text[at + 1 :]


DAMAGE: tuple[Damage, ...] = (_value, _value, _value, _line, _line, _key, _cut, _move, _letter)


def one_case(seed: int, number: int, folder: Path) -> str:
    """Read one damaged program file; raises where it ends in anything but settings or a sentence."""
    random = np.random.Generator(np.random.PCG64([seed, number]))
    text = originals()[random.integers(len(originals()))]
    for _ in range(random.integers(1, 4)):
        text = DAMAGE[random.integers(len(DAMAGE))](text, random) or "\n"
    path = folder / "program.toml"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    changed = ("money.cost_base=" + VALUES[random.integers(len(VALUES))],) if random.random() < 0.1 else ()
    try:
        program = read_program(path, changed)
    except (ProgramProblem, UsageProblem) as problem:
        said = str(problem)
        if not said or "Traceback" in said or len(said) > 4000:
            raise AssertionError(f"no sentence of a fair length: {said[:200]}") from problem
        return f"a sentence (exit code {problem.exit_code})"
    program.settings_hash()
    outside = [p for paths in program.files.values() for p in paths if not p.is_relative_to(folder)]
    if outside and "allow_outside = true" not in text:
        raise AssertionError(f"{outside} lie outside the folder")
    if [p.name for p in folder.iterdir()] != ["program.toml"]:
        raise AssertionError("reading a program file wrote something")
    return "settings"


def about(cases: int, seed: int) -> tuple[str, ...]:
    """What was run and what was held."""
    return (
        "# Damaged program files",
        "",
        f"`python tests/bench/fuzz_program.py --cases {cases} --seed {seed}`; Python {sys.version.split()[0]}, pandas "
        f"{version('pandas')}.",
        "",
        "Ways out: settings that can be hashed, or one sentence and exit code 2 or 3; no path leads out of the folder "
        "unless the file says so; nothing is written.",
    )


if __name__ == "__main__":
    command(one_case, result=RESULT, cases=20_000, batch=500, about=about)
