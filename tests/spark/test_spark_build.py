"""A whole build with Spark: the same page and tables to the byte, nothing left behind, nothing said, nobody called."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import duckdb
import pytest

from handling_review import manifest, rebuild, verify
from handling_review.rebuild import Rebuilt
from whole import facility

pytestmark = pytest.mark.spark

NAMED = {"manifest.json", "review.duckdb"}  # where the engine is named


def program(folder: Path, engine: str) -> Path:
    path = facility.write(folder)
    lines = f'\n[store]\nengine = "{engine}"\nmaster = "local[2]"\n'
    path.write_text(path.read_text(encoding="utf-8") + lines, encoding="utf-8")
    return path


def build(folder: Path, engine: str) -> Path:
    """Built by the command in a process of its own, with Spark's own settings of the machine set to mislead it."""
    command = [sys.executable, "-m", "handling_review", "build", str(program(folder, engine))]
    misled = {"PYSPARK_SUBMIT_ARGS": "--packages no.such:thing:1 pyspark-shell", "SPARK_CONF_DIR": "/nowhere"}
    done = subprocess.run(
        [*command, "--out", str(folder / "out")], capture_output=True, text=True, env={**os.environ, **misled}
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return folder / "out"


def java(of: int) -> list[str]:
    """Java processes whose parent is that process."""
    found = subprocess.run(["ps", "-o", "args=", "--ppid", str(of)], capture_output=True, text=True).stdout
    return [line for line in found.splitlines() if "java" in line]


def rows(database: Path) -> Mapping[str, Any]:
    with duckdb.connect(str(database), read_only=True) as con:
        names = [name for (name,) in con.execute("SELECT table_name FROM duckdb_tables() ORDER BY ALL").fetchall()]
        return {name: con.execute(f'SELECT * FROM "{name}" ORDER BY ALL').fetchall() for name in names}


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, Path]:
    folders = {engine: tmp_path_factory.mktemp(engine) for engine in ("duckdb", "spark")}
    return {engine: build(folder, engine) for engine, folder in folders.items()}


def test_two_builds_differ_only_where_the_engine_is_named(both: Mapping[str, Path]) -> None:
    ours, theirs = (manifest.hashes(both[engine]) for engine in ("duckdb", "spark"))
    assert ours.keys() == theirs.keys()
    assert {name for name in ours if ours[name] != theirs[name]} == NAMED - {"manifest.json"}
    first, second = (json.loads((both[e] / "manifest.json").read_text(encoding="utf-8")) for e in ("duckdb", "spark"))
    assert second.pop("person_time_engine").startswith("spark 4.")
    for told in (first, second):
        told["outputs"].pop("review.duckdb")
    assert first == second
    kept, kept_too = (rows(both[engine] / "review.duckdb") for engine in ("duckdb", "spark"))
    assert {name for name in kept if kept[name] != kept_too[name]} == {"history_reviews", "kept_record"}
    assert kept.keys() == kept_too.keys()
    assert len(set(kept_too["kept_record"]) ^ set(kept["kept_record"])) == 1


def test_nothing_is_left_beside_the_review(both: Mapping[str, Path]) -> None:
    for out in both.values():
        left = [path for path in out.parent.rglob("*") if "snapshots" not in path.parts]
        assert not [path for path in left if "spark" in path.name or path.suffix in (".parquet", ".crc")]
        assert not [path for path in out.parent.iterdir() if path.name.startswith(".")]
    assert not list(Path.cwd().glob("spark-warehouse")) + list(Path.cwd().glob("metastore_db"))


def test_verify_works_the_review_out_again_with_duckdb_and_says_so(both: Mapping[str, Path]) -> None:
    found = verify.verify(both["spark"])
    assert found.troubles == ()
    assert [one for one in found.remarks if one.startswith("Person-time: added up by spark 4.")]
    assert not [one for one in verify.verify(both["duckdb"]).remarks if one.startswith("Person-time")]


def test_an_engine_that_was_changed_in_the_manifest_is_found(both: Mapping[str, Path], tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    subprocess.run(["cp", "-r", both["spark"], copy], check=True)
    text = (copy / "manifest.json").read_text(encoding="utf-8")
    (copy / "manifest.json").write_text(text.replace('"spark 4', '"spark 5'), encoding="utf-8")
    assert "manifest.json: person_time_engine is not what the database holds." in verify.verify(copy).troubles


def test_an_earlier_review_is_built_again_with_duckdb_and_it_says_so(both: Mapping[str, Path], tmp_path: Path) -> None:
    found: Rebuilt = rebuild.rebuild(both["spark"], None, tmp_path / "again")
    assert [one for one in found.provisos if one.startswith("Person-time was added up by spark 4.")]
    ours, theirs = manifest.hashes(tmp_path / "again"), manifest.hashes(both["spark"])
    assert {name for name in ours if ours[name] != theirs[name]} <= NAMED
    assert ours == manifest.hashes(both["duckdb"])


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGKILL])
def test_a_build_that_is_ended_takes_its_java_with_it(number: signal.Signals, tmp_path: Path) -> None:
    command = [sys.executable, "-m", "handling_review", "build", str(program(tmp_path, "spark"))]
    process = subprocess.Popen([*command, "--out", str(tmp_path / "out")], stderr=subprocess.PIPE, text=True)
    started: list[int] = []
    waited = time.monotonic() + 60
    while not started and process.poll() is None and time.monotonic() < waited:
        time.sleep(0.05)
        listed = subprocess.run(["ps", "-o", "pid=", "--ppid", str(process.pid)], capture_output=True, text=True).stdout
        started = [int(pid) for pid in listed.split() if java(process.pid)]
    assert started, "Java was never started"
    process.send_signal(number)
    _, said = process.communicate(timeout=60)
    assert process.returncode == (143 if number == signal.SIGTERM else -9)
    waited = time.monotonic() + 20
    while any(Path(f"/proc/{pid}").exists() for pid in started) and time.monotonic() < waited:
        time.sleep(0.1)
    assert not [pid for pid in started if Path(f"/proc/{pid}").exists()]
    if number == signal.SIGTERM:
        assert "stopped; the last finished review is whole" in said
        assert not [path for path in tmp_path.iterdir() if "out" in path.name]
