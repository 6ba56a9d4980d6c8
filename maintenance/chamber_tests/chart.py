"""The figures of a chamber's tests over the years, drawn as SVG: a mark with its bounds for each test."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import floor, log10
from zoneinfo import ZoneInfo

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import ngettext

from maintenance.chamber_tests.words import bounds_words, figure_words
from maintenance.models import ChamberTest
from plant.frame.figures import fixed
from plant.pictures.climate_chart.axes import round_step

LEFT, RIGHT, TOP, BOTTOM = 12.0, 98.0, 6.0, 84.0
"""Where the field of the marks lies, in per cent of the drawing."""
TICKS = 4
CAP = '<rect class="cap" x="{}%" y="{}%" width="14" height="2" transform="translate(-7 -1)"/>'
Placing = Callable[[float], float]
HEADROOM = 1.05


@dataclass(frozen=True, slots=True)
class YearChart:
    """One drawing, and what it shows in words."""

    drawing: SafeString
    sentence: str


def year_chart(tests: Sequence[ChamberTest], zone: ZoneInfo) -> YearChart | None:
    """Draw the figures of one kind of test, oldest first; None where there is none."""
    shown = [test for test in tests if test.value is not None]
    if not shown:
        return None
    years = [_year(test, zone) for test in shown]
    first, last = floor(min(years)), floor(max(years)) + 1
    step = round_step(max(max(test.high or 0 for test in shown) * HEADROOM / TICKS, 1e-6))
    top = step * TICKS

    def across(year: float) -> float:
        return LEFT + (RIGHT - LEFT) * (year - first) / (last - first)

    def up(value: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * value / top

    parts = [_levels(step, up), _years(first, last, across)]
    parts += [_mark(test, across(year), up) for test, year in zip(shown, years, strict=True)]
    newest = shown[-1]
    told = {"count": len(shown), "figure": figure_words(newest), "bounds": bounds_words(newest)}
    words = ngettext(
        "%(count)s figure: %(figure)s, %(bounds)s.",
        "%(count)s figures by year; the newest: %(figure)s, %(bounds)s.",
        len(shown),
    )
    return YearChart(format_html_join("", "{}", ((part,) for part in parts)), words % told)


def _year(test: ChamberTest, zone: ZoneInfo) -> float:
    day = test.begin_at.astimezone(zone)
    return day.year + (day.timetuple().tm_yday - 1) / 366


def _levels(step: float, up: Placing) -> SafeString:
    decimals = max(0, 1 - floor(log10(step)))
    rows = []
    for number in range(TICKS + 1):
        height = f"{up(step * number):.2f}"
        rows.append((LEFT, height, RIGHT, height, LEFT - 1, height, fixed(step * number, decimals if number else 0)))
    return format_html_join(
        "",
        '<line class="level" x1="{}%" y1="{}%" x2="{}%" y2="{}%"/>'
        '<text class="level-name" x="{}%" y="{}%" dy="0.35em">{}</text>',
        rows,
    )


def _years(first: int, last: int, across: Placing) -> SafeString:
    every = max(1, -(-(last - first) // 8))
    rows = [(f"{across(year + 0.5):.2f}", year) for year in range(first, last, every)]
    return format_html_join("", '<text class="year-name" x="{}%" y="95%">{}</text>', rows)


def _mark(test: ChamberTest, left: float, up: Placing) -> SafeString:
    low, value, high = (f"{up(one or 0):.2f}" for one in (test.low, test.value, test.high))
    place = f"{left:.2f}"
    shape = (
        format_html('<circle cx="{}%" cy="{}%" r="4"/>', place, value)
        if test.fans == ChamberTest.Fans.ON
        else format_html('<rect x="{}%" y="{}%" width="8" height="8" transform="translate(-4 -4)"/>', place, value)
    )
    title = f"{test.begin_at:%Y-%m-%d}, {test.get_fans_display()}: {figure_words(test)}, {bounds_words(test)}"
    return format_html(
        '<g class="figure figure-{}"><title>{}</title><line x1="{}%" y1="{}%" x2="{}%" y2="{}%"/>{}{}</g>',
        test.fans,
        title,
        place,
        low,
        place,
        high,
        format_html_join("", CAP, ((place, end) for end in (low, high))),
        shape,
    )
