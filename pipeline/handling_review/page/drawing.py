"""A picture in the making. Plotly's own figure checks everything anew with each change; this one is checked once."""

from __future__ import annotations

from typing import Any

import plotly.graph_objects as go
from plotly.subplots import make_subplots

Look = dict[str, Any]


class Drawing:
    """Traces and layout as plain values, under Plotly's names; ``rows`` panels one under another share a time axis.

    Methods are called as those of Plotly's figure; ``row`` counts from 1, and without it they mean every panel.
    """

    def __init__(self, rows: int = 1, spacing: float = 0.0) -> None:
        self._rows = rows
        self._traces: list[Look] = []
        self._layout: Look = {}
        if rows > 1:
            grid = make_subplots(rows=rows, cols=1, shared_xaxes=True, vertical_spacing=spacing).to_dict()["layout"]
            self._layout = {name: look for name, look in grid.items() if name != "template"}

    def checked(self, template: go.layout.Template) -> go.Figure:
        """Plotly's figure; raises ``ValueError`` for a property or a value that Plotly does not know."""
        return go.Figure({"data": self._traces, "layout": {**self._layout, "template": template}})

    def add_trace(self, trace: Look, row: int | None = None) -> None:
        """A line, dots or bars, as ``scatter`` and ``bar`` make them."""
        place = {} if row is None else {"xaxis": f"x{_number(row)}", "yaxis": f"y{_number(row)}"}
        self._traces.append({**trace, **place})

    def add_annotation(self, note: Look) -> None:
        """A text in the picture."""
        self._layout.setdefault("annotations", []).append(note)

    def add_shape(self, **look: Any) -> None:
        """A line or box between two points."""
        self._layout.setdefault("shapes", []).append(look)

    def add_vline(self, x: float, line: Look, row: int | None = None) -> None:
        """A line over the whole height at ``x``."""
        self._over_height(row, type="line", x0=x, x1=x, line=line)

    def add_vrect(self, x0: float, x1: float, row: int | None = None, **look: Any) -> None:
        """A band without a border over the whole height."""
        self._over_height(row, type="rect", x0=x0, x1=x1, line={"width": 0}, **look)

    def add_hline(self, y: float, line: Look) -> None:
        """A line over the whole width at ``y``, in a picture of one panel."""
        self.add_shape(type="line", x0=0, x1=1, xref="x domain", y0=y, y1=y, yref="y", line=line)

    def update_xaxes(self, row: int | None = None, **look: Any) -> None:
        """Change the axis along the bottom."""
        self._axes("xaxis", row, look)

    def update_yaxes(self, row: int | None = None, **look: Any) -> None:
        """Change the axis along the side."""
        self._axes("yaxis", row, look)

    def update_traces(self, **look: Any) -> None:
        """Change every trace drawn so far."""
        for trace in self._traces:
            _merge(trace, look)

    def update_layout(self, **look: Any) -> None:
        """Change what belongs to no axis and no trace."""
        _merge(self._layout, look)

    def _axes(self, name: str, row: int | None, look: Look) -> None:
        for one in self._panels(row):
            _merge(self._layout, {f"{name}{_number(one)}": look})

    def _over_height(self, row: int | None, **look: Any) -> None:
        for one in self._panels(row):
            self.add_shape(xref=f"x{_number(one)}", yref=f"y{_number(one)} domain", y0=0, y1=1, **look)

    def _panels(self, row: int | None) -> list[int]:
        return list(range(1, self._rows + 1)) if row is None else [row]


def scatter(**look: Any) -> Look:
    """Lines or dots."""
    return {"type": "scatter", **look}


def bar(**look: Any) -> Look:
    """Bars."""
    return {"type": "bar", **look}


def _number(row: int) -> str:
    """As Plotly numbers panels: the first has no number."""
    return "" if row == 1 else str(row)


def _merge(into: Look, look: Look) -> None:
    """Change what is named in ``look``, down through its parts, and leave the rest; ``look`` itself is not kept."""
    for name, value in look.items():
        if isinstance(value, dict):
            part = into.get(name)
            into[name] = dict(part) if isinstance(part, dict) else {}
            _merge(into[name], value)
        else:
            into[name] = value
