"""Who works where, how long, and how many hours in each pay period."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from handling_review.simulate.plan import NURSING, Plan

FTE = np.array([1.0, 0.9, 0.8, 0.6, 0.4])
FTE_SHARE = np.array([0.45, 0.20, 0.15, 0.12, 0.08])
FULL_TIME_HOURS_PER_DAY = 80 / 14  # 80 hours in 14 days
BLOCK = 20_000  # person-periods worked at a time: bounds the memory and fixes the random numbers of each block
HOURS_UNIT = 25  # hundredths of an hour: time clocks round to the quarter hour


@dataclass(frozen=True)
class People:
    """Stints (one person in one unit for a run of pay periods), sorted by person. All arrays of shape (stints,).

    ``first`` is the stint's first period, ``stop`` the period after its last.
    """

    person: np.ndarray
    unit: np.ndarray
    job: np.ndarray
    fte: np.ndarray
    first: np.ndarray
    stop: np.ndarray
    ids: np.ndarray  # number of each person, shape (people,); rises with the date of hire

    @property
    def count(self) -> int:
        """How many people."""
        return len(self.ids)


def people(plan: Plan) -> People:
    """Fill every post with one person after another, then move some to another unit."""
    random = plan.generator("people")
    unit, job, fte = _posts(plan, random)
    periods_a_year = 365.25 / plan.period_days
    mean = periods_a_year / max(plan.turnover_per_year, 1e-9)
    fills = plan.periods / mean
    columns = int(fills + 8 * np.sqrt(fills) + 8)  # enough with all but certainty; else the post stays vacant
    tenure = 1 + random.exponential(mean, (plan.staff, columns)).clip(0, 1e6).astype(np.int64)
    vacancy = random.integers(0, 4, (plan.staff, columns))
    stop = np.cumsum(tenure + vacancy, axis=1) - vacancy
    first = stop - tenure
    post, place = np.nonzero(first < plan.periods)
    order = np.lexsort((post, first[post, place]))
    post, place = post[order], place[order]
    return _with_transfers(
        plan,
        random,
        People(
            person=np.arange(len(post)),
            unit=unit[post],
            job=job[post],
            fte=fte[post],
            first=first[post, place],
            stop=np.minimum(stop[post, place], plan.periods),
            ids=1000 + np.cumsum(random.integers(1, 10, len(post))),
        ),
    )


def _posts(plan: Plan, random: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Unit, job and full-time equivalent of each post; units by largest remainder, at least one post each."""
    share = np.array([u.share for u in plan.units], dtype=float)
    exact = share / share.sum() * (plan.staff - len(share))
    size = np.floor(exact).astype(int)
    size[np.argsort(size - exact, kind="stable")[: plan.staff - len(share) - size.sum()]] += 1
    unit = random.permutation(np.repeat(np.arange(len(share)), size + 1))
    edges = np.cumsum([u.job_mix for u in plan.units], axis=1)
    job = (random.random(plan.staff)[:, None] >= edges[unit, :-1]).sum(axis=1)
    fte = FTE[np.searchsorted(np.cumsum(FTE_SHARE)[:-1], random.random(plan.staff), side="right")]
    return unit, job, fte


def _with_transfers(plan: Plan, random: np.random.Generator, whole: People) -> People:
    """Split the stints of the people who move. Only nursing units that have classes exchange people, so that the
    comparison unit stays free of trained staff."""
    open_units = np.array([i for i, u in enumerate(plan.units) if u.job_mix == NURSING and not u.comparison], dtype=int)
    length = whole.stop - whole.first
    years = length * plan.period_days / 365.25
    moves = random.random(whole.count) < 1 - np.exp(-plan.transfers_per_year * years)
    moves &= np.isin(whole.unit, open_units) & (length >= 6) & (len(open_units) > 1)
    cut = whole.first + 2 + (random.random(whole.count) * (length - 4)).astype(int)
    step = random.integers(1, max(len(open_units), 2), whole.count)
    who = np.nonzero(moves)[0]
    if len(who) == 0:
        return whole
    place = np.searchsorted(open_units, whole.unit[who])
    target = open_units[(place + step[who]) % len(open_units)]
    stop = whole.stop.copy()
    stop[who] = cut[who]
    person = np.concatenate([whole.person, who])
    order = np.lexsort((np.concatenate([whole.first, cut[who]]), person))
    return People(
        person=person[order],
        unit=np.concatenate([whole.unit, target])[order],
        job=np.concatenate([whole.job, whole.job[who]])[order],
        fte=np.concatenate([whole.fte, whole.fte[who]])[order],
        first=np.concatenate([whole.first, cut[who]])[order],
        stop=np.concatenate([stop, whole.stop[who]])[order],
        ids=whole.ids,
    )


@dataclass(frozen=True)
class PersonPeriods:
    """One row per stint and pay period. All arrays of shape (rows,)."""

    stint: np.ndarray
    period: np.ndarray

    @property
    def blocks(self) -> int:
        """How many blocks of ``BLOCK`` rows."""
        return -(-len(self.stint) // BLOCK)

    def block(self, number: int) -> tuple[np.ndarray, np.ndarray]:
        """Stint and period of the rows of one block."""
        part = slice(number * BLOCK, (number + 1) * BLOCK)
        return self.stint[part], self.period[part]


def person_periods(staff: People) -> PersonPeriods:
    """Every period of every stint."""
    length = staff.stop - staff.first
    stint = np.repeat(np.arange(len(length), dtype=np.int32), length)
    within = np.arange(len(stint), dtype=np.int64) - np.repeat(np.cumsum(length) - length, length)
    return PersonPeriods(stint=stint, period=(staff.first[stint] + within).astype(np.int32))


@dataclass(frozen=True)
class Pay:
    """Hours of one block of person-periods in hundredths of an hour, shape (rows,). Worked = regular + overtime."""

    regular: np.ndarray
    overtime: np.ndarray
    premium_shown: np.ndarray  # whether the overtime is repeated in a premium-only row
    leave: np.ndarray
    sick: np.ndarray

    @property
    def worked(self) -> np.ndarray:
        """Hours worked, in hundredths."""
        total: np.ndarray = self.regular + self.overtime
        return total


def pay(plan: Plan, staff: People, rows: PersonPeriods, block: int) -> Pay:
    """Hours of the person-periods ``block * BLOCK`` and on, up to ``BLOCK`` of them."""
    random = plan.generator("hours", block)
    stint, _ = rows.block(block)
    full = staff.fte[stint] * FULL_TIME_HOURS_PER_DAY * plan.period_days
    n = len(full)

    def quarters(hours: np.ndarray) -> np.ndarray:
        found: np.ndarray = np.rint(hours * 4).astype(np.int64) * HOURS_UNIT
        return found

    leave = np.where(random.random(n) < 0.11, random.integers(1, 6, n) * 800, 0)
    sick = np.where(random.random(n) < 0.05, 800, 0)
    overtime = np.where(random.random(n) < 0.14, quarters(random.uniform(1, 14, n)), 0)
    present = quarters(full * (1 + 0.04 * random.standard_normal(n)).clip(0.8, 1.2))
    leave = np.minimum(leave, present // 2 // 800 * 800)
    sick = np.minimum(sick, present // 4 // HOURS_UNIT * HOURS_UNIT)
    return Pay(
        regular=np.maximum(present - leave - sick, HOURS_UNIT),
        overtime=overtime,
        premium_shown=(overtime > 0) & (random.random(n) < 0.6),
        leave=leave,
        sick=sick,
    )


def agency_hours(plan: Plan) -> np.ndarray:
    """Agency hours of each unit and period, in hundredths; nursing units only. Shape (units, periods)."""
    random = plan.generator("agency")
    share = np.array([u.share * (u.job_mix == NURSING) for u in plan.units], dtype=float)
    posts = share / math.fsum(u.share for u in plan.units) * plan.staff
    usual = posts * float(FTE @ FTE_SHARE) * FULL_TIME_HOURS_PER_DAY * plan.period_days * plan.agency_share
    drawn = usual[:, None] * random.uniform(0.4, 1.6, (len(plan.units), plan.periods))
    found: np.ndarray = np.rint(drawn * 4).astype(np.int64) * HOURS_UNIT
    return found
