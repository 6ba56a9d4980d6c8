"""What the page of a kiln's climate shows: the chart, the charge, what watches raised, and the ways to move about."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from statistics import median
from typing import Any, Final
from urllib.parse import urlencode

import numpy as np
from django.db.models import Q
from django.utils.translation import gettext as _

from maintenance.kilns.climate_form import ClimateForm
from maintenance.models import Firing
from maintenance.watches.words import PER_DEGREE, WRITTEN
from plant.basics.periods import from_epoch_s, to_epoch_s
from plant.basics.units import FAHRENHEIT
from plant.clock import start_of_day
from plant.frame.figures import fixed
from plant.frame.saying import say
from plant.models import Channel, ChannelDay, Charge, ChargeFigure, Kiln, Phase
from plant.pictures.climate_chart.axes import DAY, HOUR
from plant.pictures.climate_chart.bands import Shown, place_word
from plant.pictures.climate_chart.chart import Chart, draw_chart
from plant.pictures.climate_chart.lines import HELD_ON_CHANGE_S, Source, source_of
from plant.pictures.climate_chart.thinning import Span
from plant.readings.calculations.charge_figures import FIGURES
from plant.readings.calculations.reading_marks import TOLD_ON_CHANGE, gap_s
from plant.readings.spans import Series, load_channels, phase_spans

CHARGES_LISTED: Final = 80
LAST_HOURS: Final = timedelta(hours=24)
LONGEST_BY_READINGS: Final = timedelta(days=45)
"""Longer stretches are drawn from days in short."""
DAY_GAP_S: Final = 1.5 * DAY
USUAL_OVER: Final = 10
"""The usual figure of a kiln is the middle one of so many charges before."""
FIRINGS_SHOWN: Final = 60
LANE_SHARE: Final = 9.0
"""Marks of watches closer than this, in per cent of the width, stand below one another."""


@dataclass(frozen=True, slots=True)
class Way:
    """A way to another stretch, charge or unit: a link, and whether one stands there already."""

    word: str
    query: str
    is_here: bool = False


@dataclass(frozen=True, slots=True)
class Shade:
    """A phase behind the chart, in per cent of its width."""

    left: float
    width: float
    kind: str
    word: str


@dataclass(frozen=True, slots=True)
class Fired:
    """What a watch raised, with its number on the chart; ``lane`` counts from above, ``left`` is in per cent."""

    number: int
    firing: Firing
    left: float
    lane: int


@dataclass(frozen=True, slots=True)
class FigureRow:
    """A figure of the charge beside what is usual for the kiln."""

    name: str
    value: str
    usual: str
    why_not: str


@dataclass(frozen=True, slots=True)
class ClimatePage:
    """All that the page shows."""

    kiln: Kiln
    form: ClimateForm
    shown: Shown
    span: Span
    charge: Charge | None
    charges: Sequence[Charge]
    chart: Chart
    shades: tuple[Shade, ...]
    firings: tuple[Fired, ...]
    has_channels: bool
    is_by_days: bool
    sources: list[Source] = field(repr=False)

    @property
    def from_at(self) -> datetime:
        """Return when the stretch begins."""
        return from_epoch_s(self.span.from_s)

    @property
    def until_at(self) -> datetime:
        """Return when it ends."""
        return from_epoch_s(self.span.until_s)

    @property
    def lanes(self) -> int:
        """Return how many rows the marks of the watches take."""
        return max((one.lane for one in self.firings), default=-1) + 1


def climate_page(kiln: Kiln, form: ClimateForm, now: datetime) -> ClimatePage:
    """Gather the page in a fixed number of queries."""
    charges = list(_begun(kiln, now)[:CHARGES_LISTED])
    charge = _chosen(kiln, form, charges, now)
    begin_at, end_at = _stretch(form, charge, now)
    span = Span(to_epoch_s(begin_at), to_epoch_s(end_at))
    channels = list(Channel.objects.filter(kiln=kiln))
    is_by_days = end_at - begin_at > LONGEST_BY_READINGS
    sources = _by_days(channels, begin_at, end_at, kiln) if is_by_days else _by_readings(channels, span)
    return ClimatePage(
        kiln=kiln,
        form=form,
        shown=form.shown,
        span=span,
        charge=charge,
        charges=charges,
        chart=draw_chart(sources, span, form.shown, kiln.mill.zone, to_epoch_s(now)),
        shades=tuple(_shades(kiln, span)),
        firings=tuple(_fired(kiln, span)),
        has_channels=bool(channels),
        is_by_days=is_by_days,
        sources=sources,
    )


def _begun(kiln: Kiln, now: datetime) -> Any:
    """Return the charges that were begun, the last first."""
    basis = [Charge.Basis.RUNNING, Charge.Basis.DONE]
    return Charge.objects.filter(kiln=kiln, basis__in=basis, begin_at__lte=now).order_by("-begin_at")


def _chosen(kiln: Kiln, form: ClimateForm, charges: list[Charge], now: datetime) -> Charge | None:
    """Return the charge that is asked for, or that which the stretch is about; without either the last."""
    asked = form.cleaned_data if form.is_valid() else {}
    if asked.get("from"):
        inside = _begun(kiln, now).filter(begin_at__lt=asked["until"], end_at__gt=asked["from"])
        middle_at = asked["from"] + (asked["until"] - asked["from"]) / 2
        nearest = min(inside[:CHARGES_LISTED], key=lambda one: _away(one, middle_at), default=None)
        is_about_it = nearest and asked["until"] - asked["from"] <= 2 * (nearest.end_at - nearest.begin_at)
        return nearest if is_about_it else None
    if number := asked.get("charge"):
        found = next((one for one in charges if one.number == number), None)
        return found or _begun(kiln, now).filter(number=number).first()
    return charges[0] if charges else None


def _away(charge: Charge, at: datetime) -> timedelta:
    return max(charge.begin_at - at, at - charge.end_at, timedelta(0))


def charge_span(charge: Charge, now: datetime) -> tuple[datetime, datetime]:
    """Return from when to when a charge is shown: as far as it has come.

    One that nobody reported as unloaded is over as well once the next one was begun.
    """
    next_ones = _begun(charge.kiln, now).filter(begin_at__gte=charge.end_at)
    is_over = charge.basis == Charge.Basis.DONE or next_ones.exists()
    end_at = charge.end_at if is_over else now
    return charge.begin_at, max(end_at, charge.begin_at + timedelta(hours=1))


def _stretch(form: ClimateForm, charge: Charge | None, now: datetime) -> tuple[datetime, datetime]:
    if form.is_valid() and form.cleaned_data["from"]:
        return form.cleaned_data["from"], form.cleaned_data["until"]
    return charge_span(charge, now) if charge else (now - LAST_HOURS, now)


def _by_readings(channels: Sequence[Channel], span: Span) -> list[Source]:
    """Load readings, and as much before as a line needs to begin at the edge; two queries."""
    on_change = [one for one in channels if one.quantity in TOLD_ON_CHANGE]
    steady = [one for one in channels if one.quantity not in TOLD_ON_CHANGE]
    margin_s = max((gap_s(one.every_s) for one in steady), default=0)
    loaded: dict[str, Series] = load_channels(steady, span.from_s - margin_s, span.until_s + margin_s)
    loaded |= load_channels(on_change, span.from_s - HELD_ON_CHANGE_S, span.until_s)
    return [
        source_of(one.quantity, one.place, one.every_s, loaded[one.key])
        for one in channels
        if one.is_active or len(loaded[one.key].at_s)
    ]


def _by_days(channels: Sequence[Channel], begin_at: datetime, end_at: datetime, kiln: Kiln) -> list[Source]:
    """Load days in short; what only has a few values has no mean and is left out. One query."""
    zone = kiln.mill.zone
    told = [one for one in channels if one.quantity not in TOLD_ON_CHANGE]
    days = ChannelDay.objects.filter(
        channel__in=told, day__gte=begin_at.astimezone(zone).date(), day__lte=end_at.astimezone(zone).date()
    )
    rows: dict[int, list[tuple[int, float, float, float]]] = {one.pk: [] for one in told}
    for pk, day, low, mean, high in days.values_list("channel_id", "day", "low", "mean", "high"):
        if low is not None and mean is not None and high is not None:
            rows[pk].append((to_epoch_s(start_of_day(day, zone)) + DAY // 2, low, mean, high))
    return [_day_source(one, sorted(rows[one.pk])) for one in told if rows[one.pk] or one.is_active]


def _day_source(channel: Channel, rows: list[tuple[int, float, float, float]]) -> Source:
    table = np.array(rows, np.float64).reshape(-1, 4)
    none = np.empty(0, np.int64)
    return Source(
        quantity=channel.quantity,
        place=channel.place,
        worked_out_from="",
        at_s=table[:, 0].astype(np.int64),
        value=table[:, 2],
        gap_s=DAY_GAP_S,
        marked_at_s=none,
        marked_value=np.empty(0),
        marks=np.empty(0, np.int16),
        low=table[:, 1],
        high=table[:, 3],
    )


def _shades(kiln: Kiln, span: Span) -> Iterator[Shade]:
    words = dict(Phase.Kind.choices)
    for begin_s, end_s, kind in phase_spans(kiln, span.from_s, span.until_s):
        left, right = 100 * span.share(begin_s), 100 * span.share(end_s)
        if right > left:
            yield Shade(round(left, 3), round(right - left, 3), kind, str(words[kind]))


def _fired(kiln: Kiln, span: Span) -> Iterator[Fired]:
    reaching = Q(end_at__isnull=True) | Q(end_at__gte=from_epoch_s(span.from_s))
    found = Firing.objects.for_list().filter(reaching, watch__kiln=kiln, begin_at__lt=from_epoch_s(span.until_s))
    lanes: list[float] = []
    latest = sorted(found.order_by("-begin_at")[:FIRINGS_SHOWN], key=lambda one: (one.begin_at, one.pk))
    for number, firing in enumerate(latest, start=1):
        left = round(100 * span.share(to_epoch_s(firing.begin_at)), 3)
        lane = next((n for n, taken in enumerate(lanes) if left - taken >= LANE_SHARE), len(lanes))
        lanes[lane : lane + 1] = [left]
        yield Fired(number, firing, left, lane)


def figure_rows(charge: Charge | None, shown: Shown) -> list[FigureRow]:
    """Return the figures of a charge, each beside the middle one of the charges before; two queries."""
    if charge is None:
        return []
    own = list(charge.figures.all())
    before = _begun(charge.kiln, charge.begin_at).filter(begin_at__lt=charge.begin_at)[:USUAL_OVER]
    earlier: dict[str, list[float]] = {}
    for code, value in ChargeFigure.objects.filter(charge__in=list(before.values_list("pk", flat=True))).values_list(
        "code", "value"
    ):
        if value is not None:
            earlier.setdefault(code, []).append(value)
    order = list(FIGURES)
    own.sort(key=lambda one: (one.value is None, order.index(one.code.partition(":")[0]), one.code))
    return [_figure_row(one, earlier.get(one.code, []), shown) for one in own]


def _figure_row(one: ChargeFigure, earlier: list[float], shown: Shown) -> FigureRow:
    code, _colon, place = one.code.partition(":")
    figure = FIGURES[code]
    name = f"{_(figure.name)} {place_word(place)}".strip()
    return FigureRow(
        name=name[:1].upper() + name[1:],
        value=_say(one.value, figure.unit, shown) if one.value is not None else "",
        usual=_say(median(earlier), figure.unit, shown) if earlier else "",
        why_not=say(one.why_not),
    )


def _say(value: float, unit: str, shown: Shown) -> str:
    if unit in PER_DEGREE and shown.temperature is FAHRENHEIT:
        value, unit = value * float(FAHRENHEIT.factor), PER_DEGREE[unit]
    decimals = 2 if abs(value) < 1 else 1
    return f"{fixed(value, decimals).replace('-', '−')} {WRITTEN.get(unit, unit)}".strip()


@dataclass(frozen=True, slots=True)
class Ways:
    """Where one can go from here; each is a query of this page's address."""

    page: ClimatePage
    now: datetime

    def query(self, begin_s: int | None = None, end_s: int | None = None, **changed: str) -> str:
        """Return a query with the units and the stretch of this page and what is changed."""
        page, charge = self.page, self.page.charge
        kept = {
            "t": page.shown.temperature_code if page.shown.temperature is not page.form.scale else "",
            "humidity": page.shown.measure if page.shown.measure != "emc" else "",
        }
        if begin_s is not None and end_s is not None:
            kept |= {"from": _iso(begin_s), "until": _iso(end_s)}
        elif self.is_by_clock and "charge" not in changed:
            kept |= {"from": _iso(page.span.from_s), "until": _iso(page.span.until_s)}
        elif charge:
            kept["charge"] = charge.number
        return "?" + urlencode({name: value for name, value in {**kept, **changed}.items() if value})

    @property
    def is_by_clock(self) -> bool:
        """Say whether the address gives a stretch of time."""
        return self.page.form.is_valid() and bool(self.page.form.cleaned_data["from"])

    @property
    def whole(self) -> Way | None:
        """The whole charge."""
        charge = self.page.charge
        if charge is None:
            return None
        return Way(_("Whole charge"), self.query(charge=charge.number), not self.is_by_clock)

    @property
    def phases(self) -> list[Way]:
        """The phases of the charge, as far as they have come."""
        if self.page.charge is None:
            return []
        span, ways = self.page.span, []
        for phase in self.page.charge.phases.all():
            begin_s, end_s = to_epoch_s(phase.begin_at), to_epoch_s(min(phase.end_at, self.now))
            if end_s - begin_s >= HOUR // 6:
                is_here = (span.from_s, span.until_s) == (begin_s, end_s)
                ways.append(Way(str(phase.get_kind_display()), self.query(begin_s, end_s), is_here))
        return ways

    @property
    def lengths(self) -> list[Way]:
        """A day, some hours, a month: about the middle of what is shown, the end where it reaches the present."""
        span = self.page.span
        return [
            Way(word, self.query(*about), span.length_s == length_s or (span.from_s, span.until_s) == about)
            for word, length_s in (
                (_("3 hours"), 3 * HOUR),
                (_("12 hours"), 12 * HOUR),
                (_("Day"), DAY),
                (_("Week"), 7 * DAY),
                (_("90 days"), 90 * DAY),
            )
            for about in [self._about(length_s)]
        ]

    def _about(self, length_s: int) -> tuple[int, int]:
        span, now_s = self.page.span, to_epoch_s(self.now)
        if now_s - span.until_s < HOUR:
            end_s = min(span.until_s, now_s)
            return end_s - length_s, end_s
        middle_s = (span.from_s + span.until_s) // 2
        if length_s == DAY:
            # The day of the calendar, which has 23 or 25 hours when the clock changes.
            zone = self.page.kiln.mill.zone
            day = from_epoch_s(middle_s).astimezone(zone).date()
            following = start_of_day(day + timedelta(days=1), zone)
            return to_epoch_s(start_of_day(day, zone)), to_epoch_s(following)
        return middle_s - length_s // 2, middle_s + length_s // 2

    @property
    def earlier(self) -> Way:
        """As much again, before."""
        return self._moved(_("Earlier"), -self.page.span.length_s)

    @property
    def later(self) -> Way | None:
        """As much again, after; None where that lies ahead."""
        if self.page.span.until_s >= to_epoch_s(self.now):
            return None
        return self._moved(_("Later"), self.page.span.length_s)

    def _moved(self, word: str, by_s: int) -> Way:
        span = self.page.span
        return Way(word, self.query(span.from_s + by_s, span.until_s + by_s))

    @property
    def closer(self) -> Way | None:
        """Half of it; None where there is nothing finer."""
        span = self.page.span
        if span.length_s < HOUR:
            return None
        quarter = span.length_s // 4
        return Way(_("Closer"), self.query(span.from_s + quarter, span.until_s - quarter))

    @property
    def wider(self) -> Way | None:
        """Twice as much."""
        span = self.page.span
        if span.length_s > 2 * 365 * DAY:
            return None
        half = span.length_s // 2
        return Way(_("Wider"), self.query(span.from_s - half, span.until_s + half))

    @property
    def temperatures(self) -> list[Way]:
        """The units of temperature."""
        choices = self.page.form.fields["t"].choices  # type: ignore[attr-defined]
        here = self.page.shown.temperature_code
        return [Way(word, self.query(t=code), code == here) for code, word in choices]

    @property
    def measures(self) -> list[Way]:
        """The measures of humidity."""
        choices = self.page.form.fields["humidity"].choices  # type: ignore[attr-defined]
        return [Way(str(word), self.query(humidity=code), code == self.page.shown.measure) for code, word in choices]

    @property
    def table(self) -> str:
        """The same with its table."""
        return self.query(table="1")

    @property
    def every(self) -> str:
        """Every reading as it is kept."""
        return self.query(every="1")

    @property
    def charge_before(self) -> Charge | None:
        """The charge before this one."""
        return self._beside(1)

    @property
    def charge_after(self) -> Charge | None:
        """The charge after this one."""
        return self._beside(-1)

    def _beside(self, step: int) -> Charge | None:
        numbers = [one.number for one in self.page.charges]
        if self.page.charge is None or self.page.charge.number not in numbers:
            return None
        at = numbers.index(self.page.charge.number) + step
        return self.page.charges[at] if 0 <= at < len(numbers) else None


def _iso(epoch_s: int) -> str:
    return from_epoch_s(epoch_s).strftime("%Y-%m-%dT%H:%M:%SZ")
