"""The same stretch as a table: means, lowest and highest between round instants of the clock."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from plant.pictures.climate_chart.axes import time_ticks
from plant.pictures.climate_chart.bands import BandPlan, Shown, band_plans, name_of, shown_sources, sources_of
from plant.pictures.climate_chart.lines import Source
from plant.pictures.climate_chart.thinning import Instants, Span, Values
from plant.readings.calculations.reading_marks import TOLD_ON_CHANGE

MOST_ROWS: Final = 100


@dataclass(frozen=True, slots=True)
class Column:
    """A line of the chart as a column: shape (rows,) each, NaN where there is no reading."""

    name: str
    plan: BandPlan
    mean: Values
    low: Values
    high: Values


@dataclass(frozen=True, slots=True)
class ClimateTable:
    """Rows by when they begin, in seconds since 1970; the last ends where the stretch ends."""

    begins_s: tuple[int, ...]
    columns: tuple[Column, ...]


def make_table(sources: Iterable[Source], span: Span, shown: Shown, zone: ZoneInfo) -> ClimateTable:
    """Divide a stretch at round instants into at most about a hundred rows."""
    ticks = [tick.at_s for tick in time_ticks(span.from_s, span.until_s, zone, most=MOST_ROWS)]
    edges = np.unique(np.array([span.from_s, *ticks, span.until_s], np.int64))
    found = shown_sources(sources)
    columns = [
        _column(one, plan, name_of(one, shown), edges)
        for plan in band_plans(shown)
        if plan.look != "events"
        for one in sources_of(plan, found, shown)
    ]
    known = tuple(column for column in columns if np.isfinite(column.mean).any())
    return ClimateTable(tuple(edges[:-1].tolist()), known)


def _column(one: Source, plan: BandPlan, name: str, edges: Instants) -> Column:
    value = plan.unit.shown(one.value)
    if one.quantity in TOLD_ON_CHANGE:
        held = _held(one, value, edges)
        return Column(name, plan, held, held, held)
    low = value if one.low is None else plan.unit.shown(one.low)
    high = value if one.high is None else plan.unit.shown(one.high)
    first = np.searchsorted(one.at_s, edges)
    total = np.concatenate(([0.0], np.cumsum(value)))
    count = np.diff(first)
    mean = np.where(count > 0, np.diff(total[first]) / np.maximum(count, 1), np.nan)
    return Column(name, plan, mean, _least(low, first), -_least(-high, first))


def _held(one: Source, value: Values, edges: Instants) -> Values:
    """Return what was so last when a row ends."""
    last = np.searchsorted(one.at_s, edges[1:]) - 1
    if not len(one.at_s):
        return np.full(len(edges) - 1, np.nan)
    fresh = (last >= 0) & (edges[1:] - one.at_s[np.maximum(last, 0)] <= one.gap_s)
    return np.where(fresh, value[np.maximum(last, 0)], np.nan)


def _least(value: Values, first: Instants) -> Values:
    found = np.full(len(first) - 1, np.nan)
    filled = np.flatnonzero(np.diff(first) > 0)
    if len(filled):
        # Between two filled rows there are no readings, so that each part ends where the next one begins.
        found[filled] = np.minimum.reduceat(value[: first[-1]], first[filled])
    return found


def header(columns: Sequence[Column]) -> list[str]:
    """Return the heads of a file's columns: mean, lowest and highest of each line with its unit."""
    heads = []
    for column in columns:
        unit = f" {column.plan.unit.word}" if column.plan.unit.word else ""
        heads += [f"{column.name}{unit} {part}" for part in ("mean", "lowest", "highest")]
    return heads
