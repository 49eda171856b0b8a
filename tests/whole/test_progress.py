"""Progress is asked for with --progress: on the error output, and of no effect on what is built."""

from __future__ import annotations

from pathlib import Path

import pytest

from handling_review.cli import main
from whole import facility


def test_progress_goes_to_the_error_output_and_changes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    program = str(facility.write(tmp_path / "files"))
    told = []
    for name, options in (("quiet", []), ("told", ["--progress"])):
        assert main(["build", program, "--as-of", "2026-01-20", "--out", str(tmp_path / name), *options]) == 0
        told.append(capsys.readouterr())
    assert told[0].err == ""
    stages = [line.split(",")[0].split(";")[0] for line in told[1].err.splitlines()]
    read = [stage for stage in stages if stage.startswith("reading")]
    assert {"reading hours.csv", "reading incidents.csv", "reading training.csv"} <= set(read)
    assert stages[-5:] == ["checking", "counting hours and cases", "keeping rows", "judging", "writing"]
    assert told[0].out.replace("quiet", "told") == told[1].out
    built = {p.relative_to(tmp_path / "quiet"): p.read_bytes() for p in (tmp_path / "quiet").rglob("*") if p.is_file()}
    again = {p.relative_to(tmp_path / "told"): p.read_bytes() for p in (tmp_path / "told").rglob("*") if p.is_file()}
    assert built == again
