"""Quarters and months by counting days: the calendar of the second engine."""

from __future__ import annotations

import calendar
from datetime import date, timedelta

ONE_DAY = timedelta(days=1)


def months_later(day: date, months: int) -> date:
    """The same day so many months on, or the last of that month where it is shorter."""
    count = day.year * 12 + day.month - 1 + months
    year, month = count // 12, count % 12 + 1
    return date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


def quarter(day: date, first_month: int) -> str:
    """``2025-Q3``, or ``FY2026-Q1`` where years start later than January; such a year is named after its last day."""
    number = (day.month - first_month) % 12 // 3 + 1
    if first_month == 1:
        return f"{day.year}-Q{number}"
    return f"FY{day.year + (day.month >= first_month)}-Q{number}"


def first_whole_quarter(day: date, month: int, largest_gap_days: int) -> date:
    """First day of the quarter of ``day``, or of the next one if too many days are missing before it."""
    start = day
    while quarter(start - ONE_DAY, month) == quarter(day, month):
        start -= ONE_DAY
    if (day - start).days <= largest_gap_days:
        return start
    following = day
    while quarter(following, month) == quarter(day, month):
        following += ONE_DAY
    return following
