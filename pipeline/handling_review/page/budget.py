"""The administrator's money findings: worth so far, and the proposals with a small what-if."""

from __future__ import annotations

import json
import math

from markupsafe import Markup

from handling_review.evidence.assemble import Review
from handling_review.evidence.budget import BudgetEvidence
from handling_review.evidence.numbers import Number
from handling_review.evidence.purchases import MAIN_RATE, ProposalRow
from handling_review.evidence.stated import RULES
from handling_review.page.drawing import Drawing, scatter
from handling_review.page.house import ACCENT, INK, ROWS, Picture, note, plain, safe, value_of
from handling_review.page.numbered import Counter, Finding, WhatIf
from handling_review.page.sentence import say, spoken
from handling_review.page.tables import Cell, Column, Table, estimate_cells
from handling_review.page.words import budget as words
from handling_review.page.words.answer import SHORT
from handling_review.page.words.rates import upper


def what_if(found: BudgetEvidence) -> WhatIf | None:
    """The calculator's figures; none without a judged proposal."""
    rows = [row for row in found.proposals if row.main() is not None]
    if not rows or found.cost.base is None:
        return None
    entries = [
        {
            "addressed": row.addressed_base,
            "outlay": row.stated.quantity * row.stated.unit_cost,
            "service": row.stated.yearly_service,
            "years": row.years,
            "reduction": row.stated.reduction_base,
        }
        for row in rows
    ]
    factor = 1 + found.indirect_multiplier
    text = json.dumps({"proposals": entries, "cost": round(value_of(found.cost.base) * factor, 2), "rate": MAIN_RATE})
    return WhatIf(tuple(row.stated.name for row in rows), Markup(text), found.currency)


def worth_table(found: BudgetEvidence) -> Table | None:
    """Cases avoided, saving, cost and their difference, by comparison, with and without the largest claim."""
    if not found.worth.rows:
        return None
    spent = found.program_cost.total
    return Table(
        f"Cases avoided so far and what they are worth, {found.currency}" + (f" of {found.year}" if found.year else ""),
        (
            Column("How compared"),
            Column("Cost of a case"),
            Column("Cases avoided", "number"),
            Column("Likely between", "number"),
            Column("Saving", "number"),
            Column("Likely between", "number"),
            Column("Saving minus cost", "number"),
            Column("Likely between", "number"),
            Column("Above nothing in", "number"),
        ),
        tuple(
            (
                upper(SHORT[row.design]), row.claims if row.saving else "not known", *estimate_cells(row.avoided),
                *estimate_cells(row.saving), *estimate_cells(row.net), row.share_positive or "",
            )
            for row in found.worth.rows
        ),
        (words.DRAWS_NOTE,)
        if spent is not None
        else (),
    )  # fmt: skip


def program_cost_table(found: BudgetEvidence) -> Table | None:
    """What the program has cost, part by part."""
    cost = found.program_cost
    if cost.total is None:
        return None
    return Table(
        "What the program has cost so far",
        (Column("Part"), Column("Amount", "number")),
        (
            ("Classes attended", cost.classes),
            ("Hours in class", cost.hours),
            ("Hours in class at the wage stated", cost.wages),
            ("Materials", cost.materials),
            ("Other", cost.other),
            ("In all", cost.total),
        ),
    )


def proposals_table(found: BudgetEvidence) -> Table | None:
    """One row a proposal, break-even first."""
    if not found.proposals:
        return None
    return Table(
        say("Proposals, at ", RULES.main_rate, " a year"),
        (
            Column("Proposal"),
            Column("Unit"),
            Column("Outlay", "number"),
            Column("Break-even, cases a year", "number"),
            Column("Cases addressed a year", "number"),
            Column("Expected to be avoided", "number"),
            Column("Likely between", "number"),
            Column("Net present value", "number"),
            Column("Likely between", "number"),
            Column("Pays back in", "number"),
        ),
        tuple(_proposal_cells(row) for row in found.proposals),
        (
            words.BREAK_EVEN_NOTE,
            *(f"{row.stated.name}: {row.reason}." for row in found.proposals if row.reason),
        ),
    )


def _proposal_cells(row: ProposalRow) -> tuple[Cell, ...]:
    main = row.main()
    return (
        row.stated.name,
        row.unit_name,
        row.outlay,
        main.break_even if main else "",
        row.addressed.value if row.addressed else "",
        *estimate_cells(row.avoided),
        *(estimate_cells(main.npv) if main else ("", "")),
        main.pays_back if main else "",
    )


def rates_table(found: BudgetEvidence) -> Table | None:
    """Each proposal at every discount rate, with all figures low and all high."""
    rows = [(row, one) for row in found.proposals for one in row.at_rates]
    if not rows:
        return None
    return Table(
        "Each proposal by discount rate",
        (
            Column("Proposal"),
            Column("Rate", "number"),
            Column("Net present value", "number"),
            Column("All figures low", "number"),
            Column("All figures high", "number"),
            Column("Benefit for each unit of cost", "number"),
            Column("Discounted payback, years", "number"),
            Column("Break-even, cases a year", "number"),
            Column("Pays back in", "number"),
        ),
        tuple(
            (
                row.stated.name, one.rate, one.npv.value, one.low, one.high,
                one.benefit_cost.value if one.benefit_cost else "", _within_life(one.discounted_payback),
                one.break_even,
                one.pays_back,
            )
            for row, one in rows
        ),
    )  # fmt: skip


def years_table(row: ProposalRow) -> Table | None:
    """One proposal's net present value up to each year of its life, by discount rate."""
    if not row.by_year:
        return None
    return Table(
        f"{row.stated.name}: net present value by year and discount rate",
        (Column("Years", "label"), *(Column(f"{one.rate} a year", "number") for one in row.at_rates)),
        tuple((str(year), *values) for year, values in enumerate(row.by_year, start=1)),
    )


def levers_table(found: BudgetEvidence) -> Table | None:
    """What the answer for each proposal hangs on: its net present value with one figure low or high."""
    rows = [(row, lever) for row in found.proposals for lever in row.levers]
    if not rows:
        return None
    return Table(
        "Net present value with one figure at its low or high end",
        (Column("Proposal"), Column("Figure"), Column("At its low end", "number"), Column("At its high end", "number")),
        tuple((row.stated.name, upper(words.HANGS_ON[one.name]), one.at_low, one.at_high) for row, one in rows),
    )


def _within_life(years: Number) -> Cell:
    return "not within its life" if years.value is not None and math.isinf(years.value) else years


def stated_table(found: BudgetEvidence) -> Table | None:
    """What each proposal states, and who says so."""
    if not found.proposals:
        return None
    return Table(
        "What the proposals state, and whose figures they are",
        (
            Column("Proposal"),
            Column("Equipment"),
            Column("Pieces", "number"),
            Column("Life, years", "number"),
            Column("Share addressed", "number"),
            Column("Expected reduction: low, base, high", "number"),
            Column("Source"),
            Column("Owner"),
            Column("Stated on", "label"),
        ),
        tuple(
            (
                one.name, one.equipment.replace("_", " "), str(one.quantity), str(row.years),
                f"{one.share_addressed:.0%}",
                f"{one.reduction_low:.0%}, {one.reduction_base:.0%}, {one.reduction_high:.0%}", one.source, one.owner,
                str(one.stated_on),
            )
            for row in found.proposals
            for one in (row.stated,)
        ),
    )  # fmt: skip


def levers_picture(found: BudgetEvidence) -> Picture | None:
    """What the answer for one proposal hangs on; each proposal can be picked."""
    rows = [row for row in found.proposals if row.levers]
    if not rows:
        return None
    drawn = [_levers(row, "levers" if at == 0 else f"levers-{at}") for at, row in enumerate(rows)]
    first = drawn[0]
    return Picture(
        first.id, first.title, first.description, first.figure, first.narrow, first.height, first.narrow_height,
        choices=tuple(drawn[1:]), picker="Show the proposal", name=first.name,
    )  # fmt: skip


def _levers(row: ProposalRow, id: str) -> Picture:
    figure = Drawing()
    levers = list(reversed(row.levers))
    main = row.main()
    assert main is not None
    base = value_of(main.npv.value)
    for at, lever in enumerate(levers):
        ends = [value_of(lever.at_low), value_of(lever.at_high)]
        figure.add_trace(
            scatter(
                x=ends, y=[at, at], mode="lines+markers", line={"color": ACCENT, "width": 9},
                marker={"symbol": ["circle-open", "circle"], "size": 13, "color": ACCENT, "line": {"width": 2}},
                hovertext=[
                    f"{safe(words.HANGS_ON[lever.name])}<br>{side}: {end}"
                    for side, end in (("low", lever.at_low), ("high", lever.at_high))
                ],
                hoverinfo="text",
            )
        )  # fmt: skip
    figure.add_vline(x=0, line={"color": INK, "width": 1.5})
    figure.add_vline(x=base, line={"color": INK, "width": 1.2, "dash": "dash"})
    figure.add_annotation(
        note(
            f"dashed: base, {main.npv.value.shown}",
            x=1,
            y=1,
            xref="paper",
            yref="paper",
            xanchor="right",
            yanchor="bottom",
        )
    )
    names = [words.HANGS_ON[lever.name] for lever in levers]
    figure.update_yaxes(
        tickvals=list(range(len(levers))), ticktext=[safe(name) for name in names], range=[-0.6, len(levers) - 0.4],
        showgrid=False, tickfont={"size": 13, "color": INK},
    )  # fmt: skip
    figure.update_xaxes(title={"text": "net present value", "standoff": 8}, showgrid=True)
    figure.update_layout(margin={"b": 56}, **ROWS)
    return Picture(
        id=id,
        title=words.levers_title(row),
        description=words.levers_description(row),
        figure=plain(figure),
        narrow={
            "yaxis.ticktext": [safe(name).replace(" ", "<br>", 1) for name in names],
            "xaxis.nticks": 4,
            "annotations": [],
        },
        height=260,
        narrow_height=260,
        name=row.stated.name,
    )


def findings(review: Review, count: Counter) -> tuple[Finding, ...]:
    """The two money findings."""
    found = review.budget
    return (_worth(found, count), _proposals(found, count))


def _worth(found: BudgetEvidence, count: Counter) -> Finding:
    tables = (worth_table(found), program_cost_table(found))
    return count.finding(
        "worth",
        words.worth_title(found.worth),
        spoken(
            words.worth_sentence(found),
            words.net_sentence(found),
            words.cost_sentence(found),
        ),
        None,
        tuple(table for table in tables[:1] if table is not None),
        words.worth_how(found),
        tuple(table for table in tables[1:] if table is not None),
    )


def _proposals(found: BudgetEvidence, count: Counter) -> Finding:
    tables = (proposals_table(found), levers_table(found), rates_table(found), stated_table(found))
    return count.finding(
        "proposals",
        "Proposals: what each would have to do",
        spoken(
            words.no_proposal_sentence(found),
            *(words.proposal_sentence(row) for row in found.proposals),
            *(words.best_sentence(found, best) for best in found.best),
            words.doubt_sentence(found),
        ),
        levers_picture(found),
        tuple(table for table in tables[:1] if table is not None),
        words.proposals_how(found),
        tuple(table for table in (*tables[1:], *(years_table(row) for row in found.proposals)) if table is not None),
        what_if=what_if(found),
    )
