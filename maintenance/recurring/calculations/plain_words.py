"""Dates, numbers and lists as they are said in a sentence."""

from collections.abc import Sequence
from datetime import date
from typing import Final

MONTHS: Final = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
DAYS: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def say_date(on: date) -> str:
    """Say a date: 29 May 2026."""
    return f"{on.day} {MONTHS[on.month - 1]} {on.year}"


def say_number(value: float) -> str:
    """Say a quantity with at most one decimal and thousands set apart: 1,580 or 13.5."""
    rounded = round(value, 1)
    return f"{rounded:,.0f}" if rounded == int(rounded) else f"{rounded:,.1f}"


def say_count(count: float, one: str, many: str) -> str:
    """Say a quantity with its noun: 1 day, 3 days, 12.5 hours."""
    return f"{say_number(count)} {one if count == 1 else many}"


def say_list(items: Sequence[str]) -> str:
    """Join items: Monday, Wednesday and Friday."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"


def say_ordinal(number: int) -> str:
    """Say a place in a row: 1st, 22nd, 13th; from the end: last, 2nd to last."""
    if number < 0:
        return "last" if number == -1 else f"{say_ordinal(-number)} to last"
    ending = "th" if 11 <= number % 100 <= 13 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"
