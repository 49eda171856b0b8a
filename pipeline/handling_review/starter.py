"""Starting points: a new program folder to fill in, and the made-up sample facility."""

from __future__ import annotations

from pathlib import Path

from handling_review import files
from handling_review.intake import contracts
from handling_review.problems import OutputProblem
from handling_review.program import FILE_NAMES
from handling_review.proposal import propose


def write_new(folder: Path, exports: Path | None = None) -> list[Path]:
    """Write a commented program file, one blank CSV a contract, and the data dictionary; returns what was written.

    With ``exports``, a folder of files, the program file is proposed from these and no blank CSV is written. Raises
    ``OutputProblem`` if the folder holds anything: nothing of the user's is overwritten.
    """
    written: list[Path] = []
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise OutputProblem(f"{folder}: exists and is not an empty folder. Name a new one.")
        if exports is None:
            texts = {"program.toml": files.read_text("reports", "program.toml")}
            texts |= {f"{name}.csv": contracts.contract(name).blank_csv() for name in FILE_NAMES}
        else:
            texts = {"program.toml": propose(exports, folder)}
        folder.mkdir(parents=True, exist_ok=True)
        texts["data-dictionary.md"] = contracts.dictionary()
        for name, text in texts.items():
            path = folder / name
            path.write_text(text, encoding="utf-8", newline="\n")
            written.append(path)
    except OSError as error:
        raise OutputProblem(f"{folder}: cannot be written ({error.strerror}). Choose another folder.") from None
    return written


def copy_sample(folder: Path) -> Path:
    """Copy the sample facility into a folder; returns its program file."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in files.names("sample_data"):
        if name.endswith(".png"):
            continue
        (folder / name).write_bytes(files.read_bytes("sample_data", name))
    return folder / "program.toml"
