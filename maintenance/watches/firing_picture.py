"""The picture of a firing: the readings before and after it, from what is kept with it."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import ceil, floor, log10
from typing import Any

from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from maintenance.models import Firing
from maintenance.watches.specs import spec_of
from maintenance.watches.words import InUnit, shown_unit, signal_words
from plant.basics.periods import from_epoch_s, to_epoch_s
from plant.pictures.climate_chart.axes import round_step, time_ticks

# In units of the drawing, which is as wide as a phone and grows with the page.
WIDTH, LEFT, RIGHT = 360, 40, 6
WORD = 26  # The width of a word on the time axis.
HEIGHT, TOP, BETWEEN, FOOT = 72, 16, 10, 18
ROWS = 50
Across = Callable[[float], float]
Stretch = tuple[tuple[float, float, float], ...]


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark of an axis: where it is, and its word."""

    at: float
    word: str


@dataclass(frozen=True, slots=True)
class Panel:
    """One line with its own scale: ``lines`` run through the middle of the ``shapes`` from lowest to highest values."""

    name: str
    top: float
    bottom: float
    shapes: tuple[str, ...]
    lines: tuple[str, ...]
    dots: tuple[tuple[float, float], ...]
    limits: tuple[float, ...]
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class Picture:
    """All that the template draws, and the same as a table."""

    title: str
    description: str
    width: int
    height: float
    left: int
    right: float
    panels: tuple[Panel, ...]
    marks: tuple[Mark, ...]
    fired_at: float
    fired_width: float
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def draw(firing: Firing) -> Picture | None:
    """Draw a firing in the mill's units and time; None where no reading was kept with it."""
    data = firing.picture
    if data.get("charges"):
        return _draw_charges(firing, data)
    if data.get("lines") and data.get("until_s", 0) > data.get("from_s", 0):
        return _draw_moments(firing, data)
    return None


class _Down:
    """The scale of a panel: a value to its place."""

    def __init__(self, low: float, high: float, top: float) -> None:
        spare = (high - low) * 0.06 or max(abs(high), 1) * 0.02
        self.low, self.high, self.top = low - spare, high + spare, top

    def __call__(self, value: float) -> float:
        return round(self.top + HEIGHT * (self.high - value) / (self.high - self.low), 1)

    def marks(self, unit: InUnit) -> tuple[Mark, ...]:
        """Mark two to five round figures of the shown unit."""
        low, high = (value * unit.factor + unit.offset for value in (self.low, self.high))
        step = round_step((high - low) / 3)
        figures = [step * number for number in range(ceil(low / step), floor(high / step) + 1)]
        digits = max(0, -floor(log10(step)))
        return tuple(Mark(self((figure - unit.offset) / unit.factor), f"{figure:.{digits}f}") for figure in figures)


def _draw_moments(firing: Firing, data: dict[str, Any]) -> Picture:
    mill = firing.watch.kiln.mill
    from_s, until_s, count = data["from_s"], data["until_s"], data["count"]
    shown_s = from_s + (count - 1) * 60

    def across(at_s: float) -> float:
        return float(round(LEFT + (WIDTH - LEFT - RIGHT) * (at_s - from_s) / (until_s - from_s), 1))

    slices = len(data["lines"][0]["low"])
    edges = [from_s + (shown_s - from_s) * number / max(slices, 1) for number in range(slices + 1)]
    panels, top = [], float(TOP)
    for line in data["lines"]:
        unit = shown_unit(line["unit"], mill)
        limits = data["limits"] if line is data["lines"][0] else []
        panel = _panel(f"{signal_words(line['key'])}, {unit.word}".rstrip(", "), line, limits, unit, top, across, edges)
        panels.append(panel)
        top = panel.bottom + BETWEEN + TOP
    begin_s = to_epoch_s(firing.begin_at)
    end_s = to_epoch_s(firing.end_at) if firing.end_at else until_s
    fired_at, fired_end = across(begin_s), across(min(max(end_s, begin_s), until_s))
    return Picture(
        title=_("Readings before and after “%(watch)s” spoke up") % {"watch": firing.watch.name},
        description=_moments_words(firing, data, from_s, shown_s),
        width=WIDTH,
        height=panels[-1].bottom + FOOT,
        left=LEFT,
        right=WIDTH - RIGHT,
        panels=tuple(panels),
        marks=tuple(_time_marks(from_s, until_s, across, mill.zone)),
        fired_at=fired_at,
        fired_width=max(round(fired_end - fired_at, 1), 1.0),
        heads=(_("Time"), *(panel.name for panel in panels)),
        rows=tuple(_moment_rows(data, edges, mill)),
    )


def _panel(
    name: str,
    line: dict[str, Any],
    limits: Sequence[float],
    unit: InUnit,
    top: float,
    across: Across,
    edges: Sequence[float],
) -> Panel:
    known = [value for values in (line["low"], line["high"]) for value in values if value is not None]
    # A limit that lies far away would press the line flat.
    low, high = (min(known), max(known)) if known else (0.0, 1.0)
    reach = max(high - low, abs(high) * 0.05, 0.1)
    near = [limit for limit in limits if low - 3 * reach <= limit <= high + 3 * reach]
    down = _Down(min([low, *near]), max([high, *near]), top)
    stretches = tuple(_stretches(line, across, down, edges))
    return Panel(
        name=name,
        top=top,
        bottom=top + HEIGHT,
        shapes=tuple(_shape(stretch) for stretch in stretches),
        lines=tuple(_middle(stretch) for stretch in stretches),
        dots=(),
        limits=tuple(down(limit) for limit in near),
        marks=down.marks(unit),
    )


def _stretches(line: dict[str, Any], across: Across, down: _Down, edges: Sequence[float]) -> Iterable[Stretch]:
    """Give each unbroken stretch as (across, lowest, highest), both down."""
    stretch: list[tuple[float, float, float]] = []
    for number, (low, high) in enumerate([*zip(line["low"], line["high"], strict=True), (None, None)]):
        if low is not None and high is not None:
            middle = across((edges[number] + edges[number + 1]) / 2)
            stretch.append((middle, down(low), down(high)))
        elif stretch:
            yield tuple(stretch)
            stretch = []


def _shape(stretch: Stretch) -> str:
    """Close a stretch to a path: along its highest values and back along its lowest."""
    there = [f"{x:g},{high_y:g}" for x, _low, high_y in stretch]
    back = [f"{x:g},{low_y:g}" for x, low_y, _high in reversed(stretch)]
    return f"M{' L'.join([*there, *back])} Z"


def _middle(stretch: Stretch) -> str:
    """Run through the middle of a stretch; one of a single moment is a short dash."""
    points = [(x, (low_y + high_y) / 2) for x, low_y, high_y in stretch]
    if len(points) == 1:
        points = [(points[0][0] - 0.5, points[0][1]), (points[0][0] + 0.5, points[0][1])]
    return f"M{' L'.join(f'{x:g},{y:g}' for x, y in points)}"


def _time_marks(from_s: int, until_s: int, across: Across, zone: Any) -> Iterable[Mark]:
    """Mark round times of the clock, at most six; midnight with its day."""
    for tick in time_ticks(from_s, until_s, zone, most=6):
        place = across(tick.at_s)
        # A word that the picture's edge would cut is left out.
        if LEFT <= place <= WIDTH - WORD / 2:
            yield Mark(place, date_format(tick.at, "j M" if tick.is_day else "H:i"))


def _moments_words(firing: Firing, data: dict[str, Any], from_s: int, shown_s: int) -> str:
    zone = firing.watch.kiln.mill.zone
    said = _("From %(from)s to %(until)s. It spoke up at %(begin)s.") % {
        "from": _time(from_epoch_s(from_s), zone),
        "until": _time(from_epoch_s(shown_s), zone),
        "begin": _time(firing.begin_at, zone),
    }
    if firing.end_at:
        said += " " + _("It was over at %(end)s.") % {"end": _time(firing.end_at, zone)}
    if not data.get("is_whole", True):
        said += " " + _("The hours after it are still to come.")
    return said


def _time(at: datetime, zone: Any) -> str:
    return date_format(localtime(at, zone), "j M H:i")


def _moment_rows(data: dict[str, Any], edges: Sequence[float], mill: Any) -> Iterable[tuple[str, ...]]:
    units = [shown_unit(line["unit"], mill) for line in data["lines"]]
    every = ceil((len(edges) - 1) / ROWS) if len(edges) > 1 else 1
    for first in range(0, len(edges) - 1, every):
        cells = [_time(from_epoch_s(int(edges[first])), mill.zone)]
        for line, unit in zip(data["lines"], units, strict=True):
            lows = [value for value in line["low"][first : first + every] if value is not None]
            highs = [value for value in line["high"][first : first + every] if value is not None]
            cells.append(_span_words(min(lows), max(highs), unit) if lows and highs else "–")
        yield tuple(cells)


def _span_words(low: float, high: float, unit: InUnit) -> str:
    least, most = unit.number(low), unit.number(high)
    return least if least == most else _("%(low)s to %(high)s") % {"low": least, "high": most}


def _draw_charges(firing: Firing, data: dict[str, Any]) -> Picture:
    watch = firing.watch
    mill, spec = watch.kiln.mill, spec_of(watch)
    unit = shown_unit(data["unit"], mill)
    charges = data["charges"]
    first_s, last_s = charges[0][1], max(charges[-1][1], charges[0][1] + 1)
    values = [value for _number, _at, value in charges]

    def across(at_s: float) -> float:
        return float(round(LEFT + 6 + (WIDTH - LEFT - RIGHT - 12) * (at_s - first_s) / (last_s - first_s), 1))

    down = _Down(min(values + data["limits"]), max(values + data["limits"]), TOP)
    name = f"{signal_words(spec.signal, is_figure=True)}, {unit.word}".rstrip(", ")
    dots = tuple((across(at_s), down(value)) for _number, at_s, value in charges)
    panel = Panel(name, TOP, TOP + HEIGHT, (), (), dots, tuple(down(one) for one in data["limits"]), down.marks(unit))
    begin_s = min(max(to_epoch_s(firing.begin_at), first_s), last_s)
    zone = mill.zone
    return Picture(
        title=_("Charges before “%(watch)s” spoke up") % {"watch": watch.name},
        description=_("%(count)d charges, from %(from)s to %(until)s, each a dot.")
        % {
            "count": len(charges),
            "from": date_format(localtime(from_epoch_s(first_s), zone), "j M Y"),
            "until": date_format(localtime(from_epoch_s(last_s), zone), "j M Y"),
        },
        width=WIDTH,
        height=TOP + HEIGHT + FOOT,
        left=LEFT,
        right=WIDTH - RIGHT,
        panels=(panel,),
        marks=tuple(_day_marks(first_s, last_s, across, zone)),
        fired_at=across(begin_s),
        fired_width=max(round(WIDTH - RIGHT - across(begin_s), 1), 1.0) if firing.end_at is None else 1.0,
        heads=(_("Charge"), _("ran until"), name),
        rows=tuple((number, _time(from_epoch_s(at_s), zone), unit.number(value)) for number, at_s, value in charges),
    )


def _day_marks(first_s: int, last_s: int, across: Across, zone: Any) -> Iterable[Mark]:
    for share in (0, 1 / 3, 2 / 3):
        at = localtime(from_epoch_s(int(first_s + (last_s - first_s) * share)), zone)
        yield Mark(across(to_epoch_s(at)), date_format(at, "j M"))
