"""What a practitioner's notebook does with the same three files: read, join, group, model. No check, no line number.

Prints cases and hours by phase and the ratio of the two rates, as JSON. It is held against the review's own numbers.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import statsmodels.api as sm

WASHOUT_DAYS = 30


def phase_of(day: pd.Series, trained: pd.Series) -> np.ndarray:
    """Phase of each row: before, washout, after, or never."""
    days = (day - trained).dt.days
    return np.select(
        [trained.isna(), days < 0, days < WASHOUT_DAYS], ["never", "before", "washout"], default="after"
    ).astype(object)


def main() -> None:
    """Read the folder named on the command line and print the numbers."""
    folder = Path(sys.argv[1])
    if (folder / "hours.parquet").exists():
        hours = pd.read_parquet(folder / "hours.parquet")
        hours["period_start"] = pd.to_datetime(hours["period_start"])
    else:
        hours = pd.read_csv(folder / "hours.csv", parse_dates=["period_start", "period_end"])
    training = pd.read_csv(folder / "training.csv", parse_dates=["completed_on"])
    cases = pd.read_csv(folder / "incidents.csv", parse_dates=["event_date"])
    first = training[training["status"] == "completed"].groupby("employee_id")["completed_on"].min().rename("trained")
    hours = hours.merge(first, on="employee_id", how="left")
    hours["phase"] = phase_of(hours["period_start"], hours["trained"])
    hours["quarter"] = hours["period_start"].dt.to_period("Q").astype(str)
    cases = cases.merge(first, on="employee_id", how="left")
    cases["phase"] = phase_of(cases["event_date"], cases["trained"])
    counted = cases[(cases["handling_related"] == "yes") & (cases["outcome"] != "first_aid")]
    cells = hours.groupby(["quarter", "unit", "phase"])["hours"].sum()
    by_phase = pd.DataFrame({"hours": cells.groupby("phase").sum(), "cases": counted.groupby("phase").size()})
    pair = by_phase.loc[["before", "after"]]
    model = sm.GLM(
        pair["cases"].to_numpy(float),
        sm.add_constant(np.array([0.0, 1.0])),
        family=sm.families.Poisson(),
        offset=np.log(pair["hours"].to_numpy(float)),
    ).fit()
    told = {
        "hours": by_phase["hours"].round(4).to_dict(),
        "cases": by_phase["cases"].fillna(0).astype(int).to_dict(),
        "ratio": float(np.exp(model.params[1])),
        "cells": len(cells),
    }
    print(json.dumps(told))


if __name__ == "__main__":
    main()
