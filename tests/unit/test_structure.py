"""The shape of the project: imports one way, top level fixed, shipped files readable, light start."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import handling_review
from handling_review import files

PACKAGE = Path(handling_review.__file__).parent
LAYERS = (
    {"problems"},
    {"findings", "files", "visible", "inputs", "stopping", "ahead", "beside", "progress", "lean"},
    {"settings", "program_text"},
    {"program"},
    {"stats", "store", "pseudonyms"},
    {"intake", "simulate"},
    {"history"},
    {"evidence"},
    {"page", "last_review"},
    {"manifest"},
    {"kept"},
    {"trace"},
    {"review", "proposal"},
    {"starter", "worklist", "rebuild", "forget", "verify", "combine", "arguments"},
    {"cli"},
)
RANK = {name: rank for rank, names in enumerate(LAYERS) for name in names}
HEAVY = ("pandas", "polars", "pandera", "duckdb", "pyarrow", "plotly", "scipy", "numpy", "jinja2", "statsmodels")


def modules() -> list[Path]:
    return sorted(p for p in PACKAGE.rglob("*.py") if p.parent != PACKAGE or p.stem not in ("__init__", "__main__"))


def layer_of(path: Path) -> str:
    first = path.relative_to(PACKAGE).parts[0]
    return first.removesuffix(".py")


def imported(path: Path) -> set[str]:
    """Layers of this package that a module imports, wherever in the module the import stands."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module == "handling_review":
            names = [f"handling_review.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module]
        found |= {n.split(".")[1] for n in names if n.startswith("handling_review.") and not n.endswith("__version__")}
    return found


@pytest.mark.parametrize("path", modules(), ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_imports_go_one_way(path: Path) -> None:
    mine = layer_of(path)
    for other in imported(path) - {mine}:
        assert RANK[other] < RANK[mine], f"{mine} imports {other}"
    if mine == "stats":
        assert imported(path) <= {"stats", "problems"}


def test_every_module_stands_in_a_layer() -> None:
    assert {layer_of(path) for path in modules()} <= set(RANK)


@pytest.mark.parametrize("folder", ["schemas", "reports", "sample_data", "sql"])
def test_every_shipped_file_can_be_read(folder: str) -> None:
    listed = files.names(folder)
    assert listed
    for name in listed:
        assert files.read_bytes(folder, name)


def test_no_python_among_contracts_and_templates() -> None:
    assert not files.names("schemas", ".py")
    assert not files.names("reports", ".py")


def test_each_sql_file_says_its_grain_first() -> None:
    for name in files.names("sql", ".sql"):
        assert files.read_text("sql", name).startswith("-- grain: "), name


def test_help_starts_without_heavy_imports() -> None:
    code = (
        "import sys\nfrom handling_review import cli\ntry:\n    cli.main(['--help'])\nexcept SystemExit:\n    "
        f"pass\nprint([name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_a_command_runs_small_matrices_in_one_thread_and_seldom_searches_memory() -> None:
    code = (
        "import gc, os\nos.environ.pop('OPENBLAS_NUM_THREADS', None)\nfrom handling_review import cli\n"
        "cli.main(['--version'])\nprint(os.environ['OPENBLAS_NUM_THREADS'], gc.get_threshold()[0] > 100_000)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "1 True"


def test_what_judges_and_draws_is_loaded_beside_the_reading_and_the_thread_ends_with_the_build() -> None:
    code = (
        "import sys, threading\nfrom handling_review import review\nwith review.loading_the_rest():\n    "
        "[t for t in threading.enumerate() if t is not threading.main_thread()][0].join()\n"
        "print(threading.active_count(), all(name in sys.modules for name in review._REST))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "1 True"


def test_the_type_marker_is_there() -> None:
    assert (PACKAGE / "py.typed").is_file()


def test_the_database_writes_no_progress_bar_of_its_own(tmp_path: Path) -> None:
    from handling_review.store.database import Store

    with Store(tmp_path / "one.duckdb", tmp_path / "spill") as store:
        assert store.scalar("SELECT current_setting('enable_progress_bar')") is False
        assert store.scalar("SELECT current_setting('enable_external_access')") is False
