"""A picture that is checked once must be the one that Plotly's own figure, changed step by step, would have been."""

from __future__ import annotations

import json
from typing import Any

import plotly.graph_objects as go
import pytest
from plotly.subplots import make_subplots

from handling_review.page.drawing import Drawing, bar, scatter
from handling_review.page.house import TEMPLATE, note, plain

LINE = {"color": "#56626d", "width": 1.5, "dash": "dot"}


def as_values(figure: go.Figure) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(figure.to_json(engine="json"))
    return found


def test_one_panel_is_the_figure_that_plotly_makes_of_the_same_steps() -> None:
    theirs, ours = go.Figure(layout={"template": TEMPLATE}), Drawing()
    theirs.add_trace(go.Scatter(x=[0, 1], y=[2.5, None], mode="markers", marker={"size": 10}, error_y=None))
    ours.add_trace(scatter(x=[0, 1], y=[2.5, None], mode="markers", marker={"size": 10}, error_y=None))
    theirs.add_trace(go.Bar(x=[0, 1], y=[3, 4], name="people"))
    ours.add_trace(bar(x=[0, 1], y=[3, 4], name="people"))
    theirs.add_vline(x=0.5, line=LINE)
    ours.add_vline(x=0.5, line=LINE)
    theirs.add_hline(y=2, line=LINE)
    ours.add_hline(y=2, line=LINE)
    theirs.add_vrect(x0=0, x1=1, fillcolor="#d5dbe0", opacity=0.6, line_width=0)
    ours.add_vrect(x0=0, x1=1, fillcolor="#d5dbe0", opacity=0.6)
    for figure in (theirs, ours):
        figure.add_shape(type="line", x0=0, x1=1, y0=1, y1=1, line=LINE)
        figure.add_annotation(note("start", x=1, y=1, yref="paper"))
        figure.update_xaxes(title={"text": "quarter"}, range=[0, 2], dtick=None)
        figure.update_xaxes(title={"standoff": 6}, showgrid=True)
        figure.update_yaxes(tickfont={"size": 12})
        figure.update_traces(marker={"color": "#0b5d75"})
        figure.update_layout(margin={"b": 56}, barmode="stack")
        figure.update_layout(margin={"r": 8}, meta="rows")
    assert plain(ours) == as_values(theirs)


def test_three_panels_share_the_axis_as_those_of_plotly_do() -> None:
    theirs = make_subplots(rows=3, cols=1, shared_xaxes=True, vertical_spacing=0.09)
    theirs.update_layout(template=TEMPLATE)
    every = {"row": "all", "col": 1, "exclude_empty_subplots": False}
    theirs.add_vline(x=1.5, line=LINE, **every)
    theirs.add_vrect(x0=0, x1=1, fillcolor="#d5dbe0", opacity=0.6, line_width=0, **every)
    ours = Drawing(3, spacing=0.09)
    ours.add_vline(x=1.5, line=LINE)
    ours.add_vrect(x0=0, x1=1, fillcolor="#d5dbe0", opacity=0.6)
    for row in (1, 2, 3):
        theirs.add_trace(go.Scatter(x=[0, 1], y=[row, row]), row=row, col=1)
        ours.add_trace(scatter(x=[0, 1], y=[row, row]), row=row)
        theirs.update_yaxes(range=[0, row], row=row, col=1)
        ours.update_yaxes(range=[0, row], row=row)
    theirs.add_vrect(x0=2, x1=3, fillcolor="#d5dbe0", opacity=0.6, line_width=0, row=3, col=1)
    ours.add_vrect(x0=2, x1=3, fillcolor="#d5dbe0", opacity=0.6, row=3)
    for figure in (theirs, ours):
        figure.update_xaxes(tickvals=[0, 1])
    assert plain(ours) == as_values(theirs)


def test_what_is_given_to_a_drawing_is_left_as_it_is() -> None:
    look, more = {"x": [0], "y": [1], "marker": {"size": 10}}, {"margin": {"b": 5}}
    drawing = Drawing()
    drawing.add_trace(look)
    drawing.update_traces(marker={"color": "#0b5d75"})
    drawing.update_layout(**more)
    drawing.update_layout(margin={"r": 8})
    assert look == {"x": [0], "y": [1], "marker": {"size": 10}}
    assert more == {"margin": {"b": 5}}


@pytest.mark.parametrize("look", [{"colour": "red"}, {"mode": "dotted"}, {"marker": {"size": "large"}}])
def test_a_property_or_value_that_plotly_does_not_know_is_refused(look: dict[str, Any]) -> None:
    drawing = Drawing()
    drawing.add_trace(scatter(x=[0], y=[1], **look))
    with pytest.raises(ValueError, match=r"Invalid"):
        plain(drawing)
