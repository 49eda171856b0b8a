"""The program file as it is written: opened, bounded, read as TOML; single figures changed for one run."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from handling_review.inputs import MOST_PROGRAM_BYTES, NotPlainFile, beside, leads_out, open_plain
from handling_review.problems import ProgramProblem, UsageProblem

LONGEST_LINE = 4_000
READABLE = (".csv", ".tsv", ".txt", ".parquet", ".pq")  # what a file in a named folder may end with
MOST_IN_A_FOLDER = 10_000


def raw_program(path: Path) -> dict[str, Any]:
    """The tables of the file as they stand."""
    try:
        with open_plain(path) as stream:
            content = stream.read(MOST_PROGRAM_BYTES + 1)
        if len(content) > MOST_PROGRAM_BYTES:
            raise ProgramProblem(f"{path}: the program file is larger than 1 MB. Name a program file (TOML).")
        text = content.decode("utf-8-sig")
    except FileNotFoundError:
        raise ProgramProblem(
            f"{path}: there is no such program file. `handling-review new FOLDER` writes one to fill in."
        ) from None
    except NotPlainFile as problem:
        raise ProgramProblem(f"{path}: {problem}") from None
    except (OSError, UnicodeDecodeError, ValueError) as error:
        raise ProgramProblem(f"{path}: the program file cannot be read ({_reason(error)}).") from None
    for number, line in enumerate(text.splitlines(), start=1):
        if len(line) > LONGEST_LINE:  # a key of thousands of parts takes the reader minutes
            raise ProgramProblem(
                f"{path}, line {number}: longer than {LONGEST_LINE:,} characters. Mend it and run again."
            )
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ProgramProblem(f"{path}: not valid TOML: {error}. Mend that line and run again.") from None
    except (RecursionError, ValueError):  # tables in tables without end; whole numbers of thousands of digits
        raise ProgramProblem(
            f"{path}: not a usable program file: brackets nested too deep, or a number too long. Mend it and run again."
        ) from None


def change(path: Path, raw: dict[str, Any], line: str) -> None:
    """Put one changed value of the money part in place of the file's."""
    key, sign, text = line.partition("=")
    steps = key.strip().split(".")
    if not sign or not text.strip():
        raise UsageProblem(f"--set {line}: write KEY=VALUE, such as money.cost_base=9000 or proposals.1.quantity=4.")
    try:
        value = tomllib.loads(f"value = {text.strip()}")["value"]
    except (ValueError, RecursionError):
        value = text.strip()
    money = raw.setdefault("money", {})
    if len(steps) == 2 and steps[0] == "money" and steps[1] != "proposals" and isinstance(money, dict):
        money[steps[1]] = value
        return
    proposals = money.get("proposals", []) if isinstance(money, dict) else []
    number = int(steps[1]) if len(steps) == 3 and steps[1].isdecimal() and len(steps[1]) < 9 else 0
    if steps[0] == "proposals" and isinstance(proposals, list) and 0 < number <= len(proposals):
        if not isinstance(proposals[number - 1], dict):
            raise ProgramProblem(f"{path}: [[money.proposals]] must hold one table a proposal.")
        proposals[number - 1][steps[2]] = value
        return
    raise UsageProblem(
        f"--set {key.strip()}: name a key of [money] (money.cost_base) or of a proposal by its place "
        f"(proposals.1.quantity); {path.name} has {len(proposals)} proposals."
    )


def _reason(error: Exception) -> str:
    if isinstance(error, UnicodeDecodeError):
        return f"byte {error.start + 1} is not UTF-8; save the file as UTF-8"
    return getattr(error, "strerror", None) or type(error).__name__


def inside_paths(path: Path, where: str, names: Sequence[str], *, allow_outside: bool) -> tuple[Path, ...]:
    """The absolute paths of files that the program file names.

    Raises ``ProgramProblem`` for one that leads out of the program file's folder, unless that is allowed.
    """
    folder = path.parent
    for name in names:
        if "\0" in name:
            raise ProgramProblem(f"{path}: {where} holds a NUL character. Write a file name.")
        if not allow_outside and leads_out(folder, name):
            raise ProgramProblem(
                f"{path}: {where} = {name[:200]!r} leads out of the folder of the program file. Put the file there, "
                "or set allow_outside = true under [files] if it is meant."
            )
    return tuple(beside(folder, name) for name in names)


def files_named(path: Path, where: str, paths: Sequence[Path]) -> tuple[Path, ...]:
    """The files that the paths stand for: a folder stands for the exports in it, in the order of their names.

    Raises ``ProgramProblem`` for a folder that holds nothing, or anything that is no export: nothing is left out in
    silence but hidden files. A link is no folder here; it is refused where it is opened.
    """
    found: list[Path] = []
    for one in paths:
        found += _exports(path, where, one) if one.is_dir() and not one.is_symlink() else [one]
    return tuple(found)


def _exports(path: Path, where: str, folder: Path) -> list[Path]:
    try:
        inside = sorted((one for one in folder.iterdir() if not one.name.startswith(".")), key=lambda one: one.name)
    except OSError as error:
        raise ProgramProblem(f"{path}: {where}: {folder.name}/ cannot be listed ({error.strerror}).") from None
    if not inside:
        raise ProgramProblem(f"{path}: {where}: the folder {folder.name}/ is empty. Put the exports there.")
    if len(inside) > MOST_IN_A_FOLDER:
        raise ProgramProblem(
            f"{path}: {where}: the folder {folder.name}/ holds {len(inside):,} files; at most {MOST_IN_A_FOLDER:,} are "
            "read. Join them first."
        )
    for one in inside:
        if one.is_dir() or not one.name.casefold().endswith(READABLE):
            raise ProgramProblem(
                f"{path}: {where}: the folder {folder.name}/ holds {one.name[:200]!r}, which is no CSV or Parquet "
                "file. Take it out, or list the files that are meant by name."
            )
    return inside
