"""The whole chart: bands over one axis of time, ready to be placed by a template and read out by a script."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from plant.frame.figures import fixed
from plant.models import Reading
from plant.pictures.climate_chart.axes import DAY, TimeTick, ValueAxis, time_ticks, value_axis
from plant.pictures.climate_chart.bands import HUES, BandPlan, Shown, band_plans, name_of, shown_sources, sources_of
from plant.pictures.climate_chart.drawing import Line, draw_line, draw_marks, draw_range, draw_steps, label_spot
from plant.pictures.climate_chart.lines import Source
from plant.pictures.climate_chart.thinning import Run, Span, Thinned, Values, by_column, runs, runs_by_column, thin
from plant.readings.calculations.reading_marks import TOLD_ON_CHANGE

TICKS: Final = {"tall": 5, "middle": 4, "low": 2}
TIME_TICKS: Final = 9
MOST_RUNS: Final = 600
LETTERS: Final = "abcdefghijklmnopqrstuvwxyz"
DASHES: Final = 8
EMPTY = Line("", "")


@dataclass(frozen=True, slots=True)
class Tick:
    """A tick with its word; ``share`` is how far from the left or from above, in per cent."""

    share: float
    word: str
    is_day: bool = False
    is_extra: bool = False
    """Left out on a narrow screen."""


@dataclass(frozen=True, slots=True)
class DrawnLine:
    """A line with its letter, its looks and what it last said; ``spot`` is where its letter stands, in per cent."""

    key: str
    letter: str
    name: str
    hue: str
    dash: int
    line: Line
    ranges: str
    marks: str
    spot: tuple[float, float] | None
    last: str
    said: str
    marked: int
    marked_why: str


@dataclass(frozen=True, slots=True)
class Band:
    """A band: its lines over their axis, and in words what it shows."""

    code: str
    title: str
    unit: str
    height: str
    look: str
    ticks: tuple[Tick, ...]
    lines: tuple[DrawnLine, ...]
    sentence: str
    data: list[dict[str, Any]] = field(repr=False)
    """What a script needs to read values out, per line."""


@dataclass(frozen=True, slots=True)
class Chart:
    """Bands, ticks of time, and how many readings lie below them."""

    span: Span
    bands: tuple[Band, ...]
    ticks: tuple[Tick, ...]
    readings: int
    marked: int
    silent: tuple[str, ...]
    """Names of lines without a reading in the span."""

    @property
    def left_out(self) -> list[DrawnLine]:
        """Return the lines of which readings are left out of the rules."""
        return [line for band in self.bands for line in band.lines if line.marked]

    @property
    def data(self) -> dict[str, Any]:
        """Return what the script reads values from: for each line the lowest and highest of each column."""
        return {
            "from": self.span.from_s,
            "until": self.span.until_s,
            "columns": self.span.columns,
            "lines": [line for band in self.bands for line in band.data],
        }


@dataclass(frozen=True, slots=True)
class _Worked:
    """A source, thinned or as runs, in the unit shown."""

    source: Source
    thinned: Thinned
    steps: tuple[Run, ...]
    low: Values
    high: Values


def draw_chart(sources: Iterable[Source], span: Span, shown: Shown, zone: ZoneInfo, known_until_s: int) -> Chart:
    """Draw what is shown of a kiln from ``span.from_s`` to ``span.until_s``.

    ``known_until_s`` is the present: what is told only on a change is not drawn beyond it.
    """
    found = shown_sources(sources)
    bands, silent = [], []
    for plan in band_plans(shown):
        inside = [(one, _worked(one, plan, span, known_until_s)) for one in sources_of(plan, found, shown)]
        silent += [name_of(one, shown) for one, work in inside if work is None]
        worked = [(one, work) for one, work in inside if work is not None]
        if worked:
            bands.append(_band(plan, worked, span, shown))
    return Chart(
        span=span,
        bands=tuple(bands),
        ticks=_time_ticks(span, zone),
        readings=sum(_inside(one.at_s, span) + _inside(one.marked_at_s, span) for one in found),
        marked=sum(_inside(one.marked_at_s, span) for one in found),
        silent=tuple(dict.fromkeys(silent)),
    )


def _inside(at_s: Any, span: Span) -> int:
    first, end = np.searchsorted(at_s, [span.from_s, span.until_s + 1])
    return int(end - first)


def _worked(one: Source, plan: BandPlan, span: Span, known_until_s: int) -> _Worked | None:
    """Thin a source; None where nothing of it lies inside the span."""
    if not _inside(one.marked_at_s, span) and not len(one.at_s):
        return None
    value = plan.unit.shown(one.value)
    thinned = thin(one.at_s, value, span, one.gap_s)
    steps: tuple[Run, ...] = ()
    if one.low is not None and one.high is not None:
        lowest = thin(one.at_s, plan.unit.shown(one.low), span, one.gap_s).low
        thinned = replace(thinned, low=lowest, high=thin(one.at_s, plan.unit.shown(one.high), span, one.gap_s).high)
    elif plan.look == "steps" or (one.quantity in TOLD_ON_CHANGE and plan.look == "lines"):
        found = runs(one.at_s, value, span, one.gap_s, known_until_s)
        steps = tuple(run for run in found if run.until_s > span.from_s) if len(found) <= MOST_RUNS else ()
    low, high = runs_by_column(list(steps), span) if steps else by_column(thinned, span)
    if not np.isfinite(low).any() and not _inside(one.marked_at_s, span):
        return None
    return _Worked(one, thinned, steps, low, high)


def _band(plan: BandPlan, worked: Sequence[tuple[Source, _Worked]], span: Span, shown: Shown) -> Band:
    axis = _axis(plan, [work for _one, work in worked])
    lines, data = [], []
    for index, (one, work) in enumerate(worked):
        name = name_of(one, shown)
        lines.append(_line(plan, work, name, index, axis, span))
        data.append(_data(plan, work, name, f"{plan.code}-{LETTERS[index % 26]}"))
    return Band(
        code=plan.code,
        title=str(plan.title),
        unit=plan.unit.word,
        height=plan.height,
        look=plan.look,
        ticks=_value_ticks(plan, axis),
        lines=tuple(lines),
        sentence=_("%(band)s: %(lines)s.")
        % {"band": plan.title, "lines": "; ".join(line.said for line in lines if line.said)},
        data=data,
    )


def _axis(plan: BandPlan, worked: Sequence[_Worked]) -> ValueAxis:
    if plan.look == "events":
        return ValueAxis(0, 1, ())
    if plan.words:
        values = [value for value, _word in plan.words]
        margin = (max(values) - min(values)) * 0.2
        return ValueAxis(min(values) - margin, max(values) + margin, tuple(values))
    known = [values[np.isfinite(values)] for work in worked for values in (work.low, work.high)]
    reach = [*plan.holds, *(float(edge) for one in known if len(one) for edge in (one.min(), one.max()))]
    if not reach:
        # Only marked readings: their own span, as far as it can be told.
        reach = [0.0, plan.least_span]
    most, is_from_zero = TICKS[plan.height], 0 in plan.holds and min(reach) >= 0
    return value_axis(min(reach), max(reach), most=most, least_span=plan.least_span, is_from_zero=is_from_zero)


def _value_ticks(plan: BandPlan, axis: ValueAxis) -> tuple[Tick, ...]:
    if plan.words:
        return tuple(Tick(round(100 * axis.share_down(value), 2), str(word)) for value, word in plan.words)
    step = axis.ticks[1] - axis.ticks[0] if len(axis.ticks) > 1 else 1.0
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    return tuple(
        Tick(round(100 * axis.share_down(tick), 2), fixed(tick, decimals).replace("-", "−")) for tick in axis.ticks
    )


def _line(plan: BandPlan, work: _Worked, name: str, index: int, axis: ValueAxis, span: Span) -> DrawnLine:
    one = work.source
    drawn, ranges = EMPTY, ""
    if plan.look == "events":
        drawn = Line("", draw_marks(one.at_s, np.full(len(one.at_s), 0.5), span, axis))
    elif work.steps:
        drawn = draw_steps(work.steps, span, axis)
    elif one.low is not None:
        means = thin(one.at_s, plan.unit.shown(one.value), span, one.gap_s)
        drawn, ranges = draw_line(means, span, axis), draw_range(work.thinned, span, axis, DAY * 0.7)
    else:
        drawn = draw_line(work.thinned, span, axis)
    marks = draw_marks(one.marked_at_s, plan.unit.shown(one.marked_value), span, axis)
    spot = label_spot(work.thinned, span, axis, 0.03 + 0.94 * ((index * 0.21) % 1)) if not plan.words else None
    known = np.flatnonzero(np.isfinite(work.high))
    return DrawnLine(
        key=one.key,
        letter=LETTERS[index % 26],
        name=name,
        hue=HUES[one.quantity],
        dash=index % DASHES,
        line=drawn,
        ranges=ranges,
        marks=marks,
        spot=(round(100 * spot[0], 2), round(100 * spot[1], 2)) if spot else None,
        last=say_value(plan, float(work.high[known[-1]])) if len(known) else "",
        said=_said(plan, name, work) if len(known) else "",
        marked=_inside(one.marked_at_s, span),
        marked_why=_marked_words(one, span),
    )


def say_value(plan: BandPlan, value: float) -> str:
    """Say a value of a band with its unit, or in its own words."""
    for known, word in plan.words:
        if abs(value - known) < 0.5:
            return str(word)
    return f"{fixed(value, plan.unit.decimals).replace('-', '−')} {plan.unit.word}".strip()


def _said(plan: BandPlan, name: str, work: _Worked) -> str:
    if plan.words or plan.look == "events":
        return name
    low, high = float(np.nanmin(work.low)), float(np.nanmax(work.high))
    gaps = int(work.thinned.begins[1:].sum()) if not work.steps else 0
    said = _("%(name)s %(low)s to %(high)s") % {
        "name": name,
        "low": fixed(low, plan.unit.decimals).replace("-", "−"),
        "high": say_value(plan, high),
    }
    return said + (ngettext(", %d gap", ", %d gaps", gaps) % gaps if gaps else "")


def _marked_words(one: Source, span: Span) -> str:
    """Say how many readings have which mark."""
    inside = (one.marked_at_s >= span.from_s) & (one.marked_at_s <= span.until_s)
    marks = one.marks[inside]
    counted = [(mark.label, int(np.count_nonzero(marks & mark.value))) for mark in Reading.Mark]
    return "; ".join(f"{label}: {count}" for label, count in counted if count)


def _data(plan: BandPlan, work: _Worked, name: str, line_id: str) -> dict[str, Any]:
    """Give a script the values of each column as whole numbers of the last decimal; the highest as what it is above."""
    scale = 10**plan.unit.decimals
    known = np.isfinite(work.low)
    low = np.rint(np.where(known, work.low, 0) * scale).astype(np.int64)
    rise = np.rint(np.where(known, work.high, 0) * scale).astype(np.int64) - low
    return {
        "id": line_id,
        "name": name,
        "unit": plan.unit.word,
        "decimals": plan.unit.decimals,
        "words": {f"{value:g}": str(word) for value, word in plan.words},
        "low": [one if is_known else None for one, is_known in zip(low.tolist(), known.tolist(), strict=True)],
        "rise": rise.tolist(),
    }


def _time_ticks(span: Span, zone: ZoneInfo) -> tuple[Tick, ...]:
    found = time_ticks(span.from_s, span.until_s, zone, most=TIME_TICKS)
    is_daily = all(tick.is_day for tick in found)
    return tuple(
        Tick(
            share=round(100 * span.share(tick.at_s), 3),
            word=_time_word(tick, is_daily=is_daily, is_long=span.length_s > 60 * DAY),
            is_day=tick.is_day,
            is_extra=bool(index % 3) if is_daily else not tick.is_day and bool(index % 4),
        )
        for index, tick in enumerate(found)
    )


def _time_word(tick: TimeTick, *, is_daily: bool, is_long: bool) -> str:
    at: datetime = tick.at
    if is_long and at.day == 1:
        return date_format(at, "M Y")
    if is_daily:
        return date_format(at, "j M") if is_long else date_format(at, "D j")
    return date_format(at, "D j M") if tick.is_day else date_format(at, "H:i")
