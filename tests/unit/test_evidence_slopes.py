"""Did the groups move alike before the start? What the check says where the change is hardly known."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from handling_review.evidence import designs_by_unit
from handling_review.evidence.panel import NOT_STARTED, Check, Panel
from handling_review.stats import models

QUARTERS = 6
UNIT = np.repeat(np.arange(2), QUARTERS)
PANEL = Panel(
    UNIT,
    np.tile(np.arange(QUARTERS), 2),
    np.full(UNIT.size, NOT_STARTED),
    np.zeros(UNIT.size, dtype=bool),
    np.full(UNIT.size, 20_000.0),
    np.array([6, 4, 5, 3, 7, 6, 5, 4, 6, 5, 4, 7], dtype=float),
)


def checked(monkeypatch: pytest.MonkeyPatch, lower: float, upper: float, p_value: float) -> Check:
    """The check of two units over six quarters, where the model gives these limits over all of them."""
    real = models.poisson_ratio

    def given(*arrays: np.ndarray, **options: object) -> models.ModelRatio:
        return replace(real(*arrays, **options), lower=lower, upper=upper, p_value=p_value)  # type: ignore[arg-type]

    monkeypatch.setattr(models, "poisson_ratio", given)
    return designs_by_unit._same_slope(PANEL, np.ones(UNIT.size, dtype=bool), (UNIT == 1).astype(float))


def test_a_change_of_known_size_is_printed_by_the_year(monkeypatch: pytest.MonkeyPatch) -> None:
    found = checked(monkeypatch, 0.5, 2.0, 0.4)
    assert found.met is True
    years = (QUARTERS - 1) / 4
    assert f"({0.5 ** (1 / years):.2f} to {2 ** (1 / years):.2f}); test of equal slopes: p = 0.40." in found.seen


@pytest.mark.parametrize(("lower", "upper"), [(1e-300, 1e304), (0.0, 5.0), (0.5, math.inf)])
def test_a_change_known_to_no_factor_is_no_sign_of_likeness(
    lower: float, upper: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = checked(monkeypatch, lower, upper, 0.9)
    assert found.met is None
    assert found.seen == "Too few quarters or cases before the start to tell."


def test_a_clear_difference_of_unknown_size_is_told_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    found = checked(monkeypatch, 3.0, 1e304, 0.01)
    assert found.met is False
    assert found.seen == "Test of equal slopes: p = 0.01."
