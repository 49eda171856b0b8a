"""The sample as it is shipped, copied to a folder: from the checkout or out of the installed package."""

from __future__ import annotations

from pathlib import Path

from handling_review import files


def copied_to(folder: Path) -> Path:
    """Write the sample's files into ``folder`` (pictures left out); gives the program file."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in files.names("sample_data"):
        if not name.endswith(".png"):
            (folder / name).write_bytes(files.read_bytes("sample_data", name))
    return folder / "program.toml"
