"""Which counts to hide: worked by hand, and attacked by trying every table that a small page leaves possible."""

from __future__ import annotations

import os
from itertools import product

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from handling_review.stats.suppression import Link, Reader, Sum, is_small, suppress


def rows_and_columns(table: list[list[int]]) -> list[Sum]:
    """A table by unit and year of which only the two kinds of totals are printed, and the total of all."""
    high, wide = len(table), len(table[0])
    places = np.arange(high * wide).reshape(high, wide)
    values = np.array(table)
    found = [Sum(f"unit {i}", tuple(places[i].tolist()), int(values[i].sum()), 40 + i) for i in range(high)]
    found += [Sum(f"year {j}", tuple(places[:, j].tolist()), int(values[:, j].sum()), 60 + j) for j in range(wide)]
    return [*found, Sum("all", tuple(places.ravel().tolist()), int(values.sum()), 240)]


def line(*counts: int) -> list[Sum]:
    """Counts and their total, all printed."""
    found = [Sum(f"unit {i}", (i,), count, 40 + i) for i, count in enumerate(counts)]
    return [*found, Sum("all", tuple(range(len(counts))), sum(counts), 240)]


def hidden_of(sums: list[Sum], below: int = 5) -> set[str]:
    atoms = 1 + max(place for one in sums for place in one.atoms)
    found = suppress(Reader(atoms, sums, (), below), sums)
    assert found.exposed == ()
    return set(found.hidden)


@pytest.mark.parametrize(
    ("counts", "hidden"),
    [
        ((10, 20, 30), set()),
        ((3, 20, 30), {"unit 0", "unit 1"}),  # the total would give the 3 away: the cheapest other goes too
        ((3, 0, 30), {"unit 0", "unit 2"}),  # a nought hides nothing
        ((4, 3, 30), {"unit 0", "unit 1"}),  # 7 in two hidden counts: one of them may be 5 or 6
        ((1, 2, 30), {"unit 0", "unit 1", "unit 2"}),  # 3 in two hidden counts: both are small for sure
        ((3,), {"unit 0", "all"}),
        ((0, 0), set()),
    ],
)
def test_a_line_of_counts_by_hand(counts: tuple[int, ...], hidden: set[str]) -> None:
    assert hidden_of(line(*counts)) == hidden


def test_a_difference_of_two_printed_counts_is_protected_too() -> None:
    """20 recordable, of which 17 DART: the 3 others are people as well."""
    sums = [Sum("recordable", (0, 1), 20, 60), Sum("dart", (0,), 17, 40)]
    others = Sum("not dart", (1,), 3)
    found = suppress(Reader(2, sums, (), 5), [*sums, others])
    assert found.small == frozenset()
    assert found.further == {"dart"}


def test_counts_that_hang_together_by_a_link() -> None:
    """Two units add up to the facility, which is printed by kind: 12 and 2."""
    sums = [Sum("unit", (0,), 4, 40), Sum("other unit", (1,), 10, 50), Sum("kind", (2,), 12, 60)]
    link = Link((0, 1), (2, 3))
    rest = Sum("other kind", (3,), 2)
    found = suppress(Reader(4, [*sums, Sum("all", (2, 3), 14, 240)], (link,), 5), [*sums, rest])
    assert found.hidden == {"unit", "other unit", "kind"}


def test_small_counts_alone_are_not_enough() -> None:
    sums = line(3, 20, 30)
    found = suppress(Reader(3, sums, (), 5), sums, complementary=False)
    assert found.hidden == {"unit 0"}
    assert [one.name for one in Reader(3, sums, (), 5).exposed(found.hidden, sums)] == ["unit 0"]


def test_the_solver_keeps_its_remarks_to_itself(capfd: pytest.CaptureFixture[str]) -> None:
    """Its C++ code prints on the standard output now and then; a build prints its own sentences only."""
    hidden_of(line(3, 20, 30))
    os.write(1, b"still here")
    assert capfd.readouterr().out == "still here"


def test_the_threshold_decides() -> None:
    assert hidden_of(line(8, 20, 30), below=11) == {"unit 0", "unit 1"}
    assert hidden_of(line(3, 20, 30), below=1) == set()


@settings(max_examples=60, derandomize=True, deadline=None, suppress_health_check=list(HealthCheck))
@given(some.lists(some.lists(some.integers(0, 7), min_size=2, max_size=2), min_size=2, max_size=3))
def test_every_table_that_the_page_leaves_possible_is_tried(table: list[list[int]]) -> None:
    """An attacker writes down all tables that agree with what is printed; no small count is small in all of them."""
    sums = rows_and_columns(table)
    cells = [Sum(f"cell {i}", (i,), int(value)) for i, value in enumerate(np.ravel(table))]
    found = suppress(Reader(len(cells), sums, (), 5), [*sums, *cells])
    assert found.exposed == ()
    possible = (
        [
            way
            for way in product(range(13), repeat=len(cells))
            if all(
                sum(way[a] for a in one.atoms) == one.value
                if one.name not in found.hidden
                else sum(way[a] for a in one.atoms) >= 1
                for one in sums
            )
        ]
        if len(cells) <= 4
        else None
    )
    if possible is None:
        return
    for one in (*sums, *cells):
        if is_small(one.value, 5):
            values = {sum(way[a] for a in one.atoms) for way in possible}
            assert len(values) > 1
            assert max(values) >= 5


@pytest.mark.parametrize("counts", list(product((1, 3, 4, 6), (2, 5, 9), (0, 7, 12)))[::3])
def test_an_attacker_who_runs_the_search_on_every_table_is_left_in_doubt(counts: tuple[int, ...]) -> None:
    """The strongest reader knows the search itself: only tables that would be printed just so remain."""
    sums = line(*counts)
    page = hidden_of(sums)
    printed = {one.name: one.value for one in sums if one.name not in page}
    alike = []
    for way in product(range(1 + max(15, sum(counts))), repeat=len(counts)):
        other = line(*way)
        if all(one.value == printed[one.name] for one in other if one.name in printed) and hidden_of(other) == page:
            alike.append(way)
    assert counts in alike
    for at, count in enumerate(counts):
        if is_small(count, 5):
            assert len({way[at] for way in alike}) > 1, (counts, page)
