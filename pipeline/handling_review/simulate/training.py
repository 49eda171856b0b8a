"""Who completes which class and when."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from handling_review.simulate.people import People
from handling_review.simulate.plan import (
    FAR,
    HANDS_ON,
    ONLINE,
    ORIENTATION,
    PEER_LEADER,
    REFRESHER,
    Plan,
)

FIRST_CLASSES_DAYS = 42  # the staff of a unit go through the class in the six weeks after go-live
NEW_STAFF_DAYS = 21  # later arrivals within three weeks


@dataclass(frozen=True)
class Classes:
    """Qualifying completions by person, as day numbers; ``FAR`` where there is none.

    ``completed``: first qualifying completion, shape (people,). ``refreshed``: shape (people, refreshers), rising.
    """

    completed: np.ndarray
    refreshed: np.ndarray


@dataclass(frozen=True)
class Roster:
    """Training rows. All arrays of shape (rows,); ``person`` indexes the people, ``day`` is a day number."""

    person: np.ndarray
    course: np.ndarray
    day: np.ndarray
    status: np.ndarray
    kind: np.ndarray
    competency: np.ndarray


def classes(plan: Plan, staff: People) -> Classes:
    """First completion from the unit's go-live or the person's arrival, then yearly refreshers for a part."""
    random = plan.generator("classes")
    stints = len(staff.person)
    arrival, leaving = staff.first * plan.period_days, staff.stop * plan.period_days
    go_live = plan.go_live_days[staff.unit]
    at_go_live = go_live >= arrival
    wait = np.where(
        at_go_live,
        random.integers(0, FIRST_CLASSES_DAYS, stints),
        random.integers(3, NEW_STAFF_DAYS - 2, stints),
    )
    day = _working_day(plan, np.maximum(go_live, arrival) + wait)
    day = np.where((go_live < FAR) & (day < leaving), day, FAR)
    completed = np.full(staff.count, FAR)
    np.minimum.at(completed, staff.person, day)
    completed[random.random(staff.count) < plan.never_trained_share] = FAR
    gone = np.zeros(staff.count, dtype=np.int64)
    np.maximum.at(gone, staff.person, leaving)
    years = max(1, -(-plan.periods * plan.period_days // 330))
    refreshed = np.full((staff.count, years), FAR)
    last = completed
    for year in range(years):
        due = np.where(last < FAR, last + random.integers(330, 430, staff.count), FAR)
        due = _working_day(plan, due)
        takes = (random.random(staff.count) < plan.refresher_share) & (due < gone)
        refreshed[:, year] = np.where(takes, due, FAR)
        last = np.where(takes, due, last + 365)
    return Classes(completed=completed, refreshed=np.sort(refreshed, axis=1))


def _working_day(plan: Plan, day: np.ndarray) -> np.ndarray:
    """Saturdays and Sundays move to the Monday after."""
    weekday = (plan.first_period.weekday() + day) % 7
    moved: np.ndarray = day + np.where(weekday >= 5, 7 - weekday, 0)
    return moved


def roster(plan: Plan, staff: People, done: Classes) -> Roster:
    """The learning records: qualifying rows, and rows that must not count (failed, enrolled, waived, online)."""
    random = plan.generator("roster")
    n = staff.count
    everyone = np.arange(n)
    arrival, gone = np.full(n, FAR), np.zeros(n, dtype=np.int64)
    np.minimum.at(arrival, staff.person, staff.first * plan.period_days)
    np.maximum.at(gone, staff.person, staff.stop * plan.period_days)
    has_classes = np.zeros(n, dtype=bool)
    np.logical_or.at(has_classes, staff.person, plan.go_live_days[staff.unit] < FAR)
    trained = done.completed < FAR
    parts: list[tuple[np.ndarray, str, np.ndarray, str, str, str]] = []

    def add(who: np.ndarray, course: str, day: np.ndarray, status: str, kind: str, competency: str = "") -> None:
        inside = (day >= arrival) & (day < gone)
        at = everyone[who & inside]
        parts.append((at, course, day[at], status, kind, competency))

    graded = random.random(n) < 0.8
    add(trained & graded, HANDS_ON, done.completed, "passed", "hands_on", "yes")
    add(trained & ~graded, HANDS_ON, done.completed, "completed", "hands_on")
    failed = trained & (random.random(n) < 0.04)
    add(failed, HANDS_ON, done.completed - random.integers(5, 15, n), "failed", "hands_on", "no")
    for year in range(done.refreshed.shape[1]):
        add(done.refreshed[:, year] < FAR, REFRESHER, done.refreshed[:, year], "completed", "refresher", "yes")
    leader = trained & (random.random(n) < 0.05)
    add(leader, PEER_LEADER, done.completed + random.integers(14, 60, n), "completed", "peer_leader", "yes")
    missed = has_classes & ~trained
    first_class = np.full(n, FAR)
    np.minimum.at(first_class, staff.person, plan.go_live_days[staff.unit])
    asked = np.maximum(first_class, arrival) + random.integers(0, 60, n)
    status = random.random(n)
    add(missed & (status < 0.30), HANDS_ON, asked, "enrolled", "hands_on")
    add(missed & (status >= 0.30) & (status < 0.40), HANDS_ON, asked, "waived", "hands_on")
    add(missed & (status >= 0.40) & (status < 0.45), HANDS_ON, asked, "failed", "hands_on", "no")
    new = arrival > 0
    add(new, ORIENTATION, arrival + random.integers(0, 5, n), "completed", "orientation")
    online = np.where(new, arrival + random.integers(5, 40, n), random.integers(8, 370, n))
    add(random.random(n) < 0.6, ONLINE, online, "completed", "online")
    return _in_order(parts)


def _in_order(parts: list[tuple[np.ndarray, str, np.ndarray, str, str, str]]) -> Roster:
    person = np.concatenate([p[0] for p in parts])
    day = np.concatenate([p[2] for p in parts])
    texts = [np.repeat([p[i] for p in parts], [len(p[0]) for p in parts]) for i in (1, 3, 4, 5)]
    order = np.lexsort((texts[0], person, day))
    course, status, kind, competency = (text[order] for text in texts)
    return Roster(person[order], course, day[order], status, kind, competency)
