"""Candidates for action: two to four, each following from a finding of the review."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from handling_review.evidence.accounting import AccountingEvidence
from handling_review.evidence.before_after import BeforeAfter
from handling_review.evidence.contrast import HIGHER
from handling_review.evidence.ladder import Rung
from handling_review.evidence.numbers import Number
from handling_review.evidence.rates import RatesEvidence
from handling_review.evidence.reporting import ReportingEvidence
from handling_review.evidence.tasks import TasksEvidence
from handling_review.evidence.training import Coverage, TrainingEvidence
from handling_review.evidence.units import UnitsEvidence
from handling_review.evidence.watch import Watch

MOST_CANDIDATES = 4
# Half of the hours: below it most care on the unit is given by staff without current training.
LOW_COVERAGE = 0.5
# One worked hour in ten by lapsed staff is worth a class; common practice, no source.
HIGH_LAPSED = 0.1
# Cases with suited equipment on the unit and not in use, and their share of those that a class suits, before somebody
# should ask why; common practice, no source.
FEWEST_IDLE, IDLE_SHARE = 5, 0.5


@dataclass(frozen=True)
class Candidate:
    """Something the committee could do. ``kind`` picks the sentence, ``finding`` names where it comes from.

    ``units`` are unit names in alphabetical order; ``numbers`` are the figures the sentence needs.
    """

    kind: str
    finding: str
    units: tuple[str, ...]
    numbers: tuple[Number, ...]


@dataclass(frozen=True)
class Basis:
    """The evidence that candidates follow from."""

    rates: RatesEvidence
    change: BeforeAfter
    lead: Rung
    watch: Watch
    tasks: TasksEvidence
    training: TrainingEvidence
    units: UnitsEvidence
    accounting: AccountingEvidence
    reporting: ReportingEvidence


def gather(basis: Basis) -> tuple[Candidate, ...]:
    """The candidates in order of consequence, at most four, at least one."""
    found = [candidate for rule in _RULES if (candidate := rule(basis)) is not None]
    if len(found) < 2:
        found.append(Candidate("keep_measuring", "rates", (), ()))
    return tuple(found[:MOST_CANDIDATES])


def _put_right(basis: Basis) -> Candidate | None:
    blocks = basis.accounting.finding_count("blocks")
    return Candidate("put_right", "quality", (), (blocks,)) if blocks.value else None


def _look_before_extending(basis: Basis) -> Candidate | None:
    """A higher rate by the leading design or by plain before and after: a warning is not held to the stronger one."""
    lead, plain = basis.lead, basis.change.primary
    if lead.verdict == HIGHER and lead.ratio is not None:
        return Candidate("look_before_extending", "did-it-work", (), (lead.ratio.value,))
    if plain.direction == HIGHER and plain.ratio is not None:
        return Candidate("look_before_extending", "before-after", (), (plain.ratio.value,))
    return None


def _ask_where_it_rises(basis: Basis) -> Candidate | None:
    """Units whose early warning speaks now."""
    names = basis.watch.units_warned()
    return Candidate("ask_where_it_rises", "signals", names, ()) if names else None


def _use_equipment(basis: Basis) -> Candidate | None:
    idle, whole = basis.tasks.of("suited", "on_unit_not_in_use"), basis.tasks.with_suited
    count = int(idle.value or 0)
    if count < FEWEST_IDLE or count < IDLE_SHARE * int(whole.value or 0):
        return None
    return Candidate("use_equipment", "tasks", (), (idle, whole))


def _walk_through(basis: Basis) -> Candidate | None:
    high = tuple(row.name for row in basis.units.standing_out() if row.stands_out == HIGHER)
    return Candidate("walk_through", "units", high, ()) if high else None


def _get_missing(basis: Basis) -> Candidate | None:
    gaps = tuple(span.quarter for span in basis.rates.quarters if not span.is_complete)
    return Candidate("get_missing", "rates", gaps, ()) if gaps else None


def _name_courses(basis: Basis) -> Candidate | None:
    """Where no row counts as training, classes may well have been held: first say which they were."""
    return None if basis.training.qualifying_completions.value else Candidate("name_courses", "coverage", (), ())


def _schedule_training(basis: Basis) -> Candidate | None:
    if not basis.training.qualifying_completions.value:
        return None
    without_program = {row.unit for row in basis.units.rows if row.is_comparison}
    low = tuple(
        row.label
        for row in basis.training.units
        if row.name not in without_program and row.shares and _could_be_current(row) < LOW_COVERAGE
    )
    return Candidate("schedule_training", "coverage", low, ()) if low else None


def _schedule_refreshers(basis: Basis) -> Candidate | None:
    if not basis.training.latest:
        return None
    latest = basis.training.of(basis.training.latest)
    if not latest.shares or _share(latest.share("lapsed")) < HIGH_LAPSED:
        return None
    return Candidate("schedule_refreshers", "coverage", (), (latest.share("lapsed"),))


def _check_reporting(basis: Basis) -> Candidate | None:
    return Candidate("check_reporting", "reporting", (), ()) if basis.reporting.asks_a_look else None


def _settle_unclassified(basis: Basis) -> Candidate | None:
    undecided = basis.change.unclassified
    if not (undecided.cases_before.value or undecided.cases_after.value):
        return None
    return Candidate("settle_unclassified", "other-ways", (), (undecided.cases_before, undecided.cases_after))


def _review_findings(basis: Basis) -> Candidate | None:
    look = basis.accounting.finding_count("look")
    return Candidate("review_findings", "quality", (), (look,)) if look.value else None


_RULES: tuple[Callable[[Basis], Candidate | None], ...] = (
    _put_right,
    _look_before_extending,
    _ask_where_it_rises,
    _walk_through,
    _get_missing,
    _name_courses,
    _schedule_training,
    _schedule_refreshers,
    _check_reporting,
    _use_equipment,
    _settle_unclassified,
    _review_findings,
)


def _could_be_current(row: Coverage) -> float:
    """The most that current training can stand behind: hours of people who could not be matched may all be theirs."""
    return _share(row.share("current")) + _share(row.share("unknown"))


def _share(number: Number) -> float:
    return float(number.value or 0)
