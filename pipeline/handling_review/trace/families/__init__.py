"""All families of keys, by the first part of the key."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping

from handling_review.trace.families import (
    answer,
    audits,
    data,
    designs,
    groups,
    money,
    rates,
    starts,
    stated,
    tasks,
    units,
    watch,
)
from handling_review.trace.family import Family

FAMILIES: tuple[Family, ...] = (
    *designs.FAMILIES,
    *answer.FAMILIES,
    *starts.FAMILIES,
    *watch.FAMILIES,
    *units.FAMILIES,
    *tasks.FAMILIES,
    *groups.FAMILIES,
    *audits.FAMILIES,
    *money.FAMILIES,
    *data.FAMILIES,
    *stated.FAMILIES,
    *rates.FAMILIES,  # last: its places take in nearly everything
)


def _by_head() -> Mapping[str, tuple[Family, ...]]:
    found: dict[str, list[Family]] = defaultdict(list)
    for family in FAMILIES:
        head = family.pattern.split("/")[0]
        for limit in ("lower", "upper") if "{limit}" in head else ("",):
            found[head.replace("{limit}", limit)].append(family)
    return {head: tuple(listed) for head, listed in found.items()}


BY_HEAD = _by_head()
