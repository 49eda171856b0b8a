"""One local Spark for all tests here: Java takes seconds to start."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from handling_review.store.spark import private_folder, session


@dataclass(frozen=True)
class Running:
    """A session, and the private folder it works in, whose name holds what a name can hold."""

    spark: Any
    folder: Path


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    beside = tmp_path_factory.mktemp("spark") / "Étage 3, [a]{b} %20 $x"
    beside.mkdir()
    with private_folder(beside) as folder, session("local[2]", folder) as spark:
        yield Running(spark, folder)
