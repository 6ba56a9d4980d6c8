"""The pictures of the availability report as plain geometry, for the page (SVG) and the paper alike.

Widths are shares of 100, so that one drawing fits a telephone and a desk. Six looks tell what a kiln was; each has a
pattern of its own beside its colour.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.utils.dates import MONTHS_3
from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.html import format_html_join
from django.utils.safestring import SafeString
from django.utils.timezone import get_current_timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from plant.availability.calculations.stretches import Being, Stretch
from plant.availability.report import AvailabilityReport, KilnReport
from plant.basics.periods import to_epoch_s
from plant.basics.units import BOARD_FEET_PER_M3
from plant.charges.calculations.drying_loss import Bridge
from plant.charges.rows import DowntimeLine
from plant.clock import start_of_day
from plant.frame.figures import fixed
from plant.models import Mill

BEING_WORDS: dict[Being, Promise | str] = {
    Being.ABLE: gettext_lazy("able to dry"),
    Being.PLANNED: gettext_lazy("planned work"),
    Being.UNPLANNED: gettext_lazy("stopped"),
    Being.SLOWED: gettext_lazy("slowed"),
    Being.EXTERNAL: gettext_lazy("outside cause"),
    Being.NO_TIMBER: gettext_lazy("no timber"),
}

# What is drawn later lies on top: a stop of an hour must not vanish under what is next to it.
LAYERS = (Being.NO_TIMBER, Being.EXTERNAL, Being.SLOWED, Being.PLANNED, Being.UNPLANNED)

JOIN_GAP = 0.12
"""Pieces of one look that lie closer than this share of 100 are drawn as one."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of the strip: from ``left`` over ``width``, in shares of 100."""

    left: float
    width: float
    being: Being
    title: str


@dataclass(frozen=True, slots=True)
class StripRow:
    """One kiln's year."""

    kiln: KilnReport
    pieces: tuple[Piece, ...]
    sentence: str
    """What the picture shows, in words."""

    @property
    def drawing(self) -> SafeString:
        """The pieces as SVG; put together here, for a template would take a second over ten thousand."""
        return format_html_join(
            "",
            '<rect x="{}%" y="1" width="{}%" height="26" class="piece piece-{}"><title>{}</title></rect>',
            ((piece.left, piece.width, piece.being.value, piece.title) for piece in self.pieces),
        )


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark of the time axis under the strip; ``left`` in shares of 100."""

    left: float
    word: str


@dataclass(frozen=True, slots=True)
class _Scale:
    """Seconds to shares of 100."""

    start_s: int
    length_s: int

    def at(self, epoch_s: int) -> float:
        return round((epoch_s - self.start_s) * 100 / self.length_s, 3)


def _scale(report: AvailabilityReport) -> _Scale:
    start_s = to_epoch_s(report.period.start_at)
    return _Scale(start_s, max(to_epoch_s(report.period.end_at) - start_s, 1))


def strip_rows(report: AvailabilityReport) -> list[StripRow]:
    """Draw what each kiln was over the whole period; what is still to come stays blank."""
    scale, titles = _scale(report), _Titles(report.records)
    return [StripRow(kiln, tuple(_pieces(kiln, scale, titles)), _sentence(kiln)) for kiln in report.kilns]


def _pieces(kiln: KilnReport, scale: _Scale, titles: "_Titles") -> Iterator[Piece]:
    left, right = scale.at(to_epoch_s(kiln.counted_from_at)), scale.at(kiln.stretches[-1].end_s)
    yield Piece(left, round(right - left, 3), Being.ABLE, f"{kiln.tag}: {BEING_WORDS[Being.ABLE]}")
    for being in LAYERS:
        for group in _close_together([s for s in kiln.stretches if s.being is being], scale):
            begin, end = scale.at(group[0].start_s), scale.at(group[-1].end_s)
            yield Piece(begin, round(end - begin, 3), being, titles.of(kiln.tag, being, group))


def _close_together(found: Iterable[Stretch], scale: _Scale) -> Iterator[list[Stretch]]:
    group: list[Stretch] = []
    for stretch in found:
        if group and scale.at(stretch.start_s) - scale.at(group[-1].end_s) >= JOIN_GAP:
            yield group
            group = []
        group.append(stretch)
    if group:
        yield group


class _Titles:
    """Says in words what one would point at; what can be looked up once is, for there may be thousands of pieces."""

    def __init__(self, lines: dict[int, DowntimeLine]) -> None:
        self.lines = lines
        self.zone = get_current_timezone()
        self.months = {number: str(word).capitalize() for number, word in MONTHS_3.items()}
        self.beings = {being: str(word) for being, word in BEING_WORDS.items()}
        self.pattern = _("%(kiln)s: %(what)s, %(first)s to %(last)s, %(hours)s h")

    def of(self, tag: str, being: Being, group: list[Stretch]) -> str:
        """Say it of stretches that are drawn as one."""
        said = self.pattern % {
            "kiln": tag,
            "what": self.beings[being],
            "first": self._short(group[0].start_s),
            "last": self._short(group[-1].end_s),
            "hours": fixed(Decimal(sum(s.seconds for s in group)) / 3600),
        }
        reasons = list(dict.fromkeys(_reason(self.lines[s.due_to[0][0]]) for s in group))
        if reasons := [reason for reason in reasons if reason]:
            more = len(reasons) - 2
            said += f": {'; '.join(reasons[:2])}"
            said += ngettext(" and %d more", " and %d more", more) % more if more > 0 else ""
        return said

    def _short(self, epoch_s: int) -> str:
        local = datetime.fromtimestamp(epoch_s, self.zone)
        return f"{local.day} {self.months[local.month]} {local.hour:02}:{local.minute:02}"


def _reason(line: DowntimeLine) -> str:
    return ", ".join(word for word in (line.component, line.reason) if word)


def _sentence(kiln: KilnReport) -> str:
    hours = kiln.hours
    parts = (hours.able, hours.planned, hours.stopped, hours.slowed, hours.outside, hours.no_timber)
    said = [f"{fixed(part)} h {BEING_WORDS[being]}" for being, part in zip(BEING_WORDS, parts, strict=True)]
    return f"{kiln.tag}: {', '.join(said)}"


def axis_ticks(report: AvailabilityReport) -> list[Tick]:
    """Mark years, months or weeks, so that between four and a dozen words stand under the strip."""
    scale, period = _scale(report), report.period
    days = (period.last_on - period.first_on).days + 1
    ticks = []
    for day, word in _tick_days(period.first_on, period.last_on, days):
        ticks.append(Tick(scale.at(to_epoch_s(start_of_day(day, period.zone))), word))
    return ticks


def _tick_days(first_on: date, last_on: date, days: int) -> Iterator[tuple[date, str]]:
    if days > 800:
        for year in range(first_on.year, last_on.year + 1):
            yield max(date(year, 1, 1), first_on), str(year)
    elif days > 70:
        step = 1 if days <= 400 else 2
        month_on = first_on.replace(day=1)
        while month_on <= last_on:
            yield max(month_on, first_on), date_format(month_on, "M")
            for _step in range(step):
                month_on = (month_on + timedelta(days=31)).replace(day=1)
    else:
        for offset in range(0, days, 7 if days > 14 else 1):
            day = first_on + timedelta(days=offset)
            yield day, date_format(day, "j M")


@dataclass(frozen=True, slots=True)
class Bar:
    """A step of the bridge: a bar from ``left`` over ``width`` in shares of 100.

    ``level`` is where the next step begins; ``figure`` the number to write beside it. ``look`` is ``whole`` for the
    first and last bar, the name of what took the drying for the steps between, or ``pace``.
    """

    word: str
    figure: str
    left: float
    width: float
    level: float
    look: str
    note: str = ""


def bridge_bars(bridge: Bridge, mill: Mill | None) -> list[Bar]:
    """Draw the steps from what could have been dried to what was, in the mill's unit of volume.

    The running levels are rounded, not the steps, so that the numbers add up as they stand.
    """
    before_pace_m3 = bridge.dried_m3 + bridge.pace_m3
    tops = (bridge.could_dry_m3, bridge.dried_m3, before_pace_m3, before_pace_m3 + bridge.under_way_m3)
    scale = _VolumeScale(max(tops), mill)
    steps = (
        (_("no timber"), bridge.no_timber_m3, Being.NO_TIMBER.value, ""),
        (_("outside causes"), bridge.outside_m3, Being.EXTERNAL.value, ""),
        (_("planned work"), bridge.planned_m3, Being.PLANNED.value, ""),
        (_("stopped"), bridge.stopped_m3, Being.UNPLANNED.value, ""),
        (_("slowed"), bridge.slowed_m3, Being.SLOWED.value, ""),
        (
            _("charges under way"),
            bridge.under_way_m3,
            "pace",
            _("dried in the period and came out after it")
            if bridge.under_way_m3 >= 0
            else _("came out in the period and had dried before it"),
        ),
        (
            _("slower than usual") if bridge.pace_m3 >= 0 else _("faster than usual"),
            bridge.pace_m3,
            "pace",
            _("against what these kilns usually dry in an hour"),
        ),
    )
    left = bridge.could_dry_m3
    bars = [scale.whole(_("could dry"), left)]
    for word, lost, look, note in steps:
        bars.append(scale.step(word, left, left - lost, look, note))
        left -= lost
    return [*bars, scale.whole(_("dried"), bridge.dried_m3)]


class _VolumeScale:
    """Cubic metres to shares of 100 and to figures in the mill's unit."""

    def __init__(self, top_m3: Decimal, mill: Mill | None) -> None:
        self.top_m3 = max(top_m3, Decimal(1))
        self.is_board_feet = mill is not None and mill.volume_unit == Mill.VolumeUnit.BOARD_FEET

    def whole(self, word: str, m3: Decimal) -> Bar:
        return Bar(word, self.figure(self.rounded(m3)), 0.0, self.share(m3), self.share(m3), "whole")

    def step(self, word: str, above_m3: Decimal, below_m3: Decimal, look: str, note: str) -> Bar:
        change = self.rounded(below_m3) - self.rounded(above_m3)
        sign = "−" if change < 0 else "+" if change > 0 else ""
        begin, end = sorted((self.share(above_m3), self.share(below_m3)))
        width = round(end - begin, 3)
        return Bar(word, sign + self.figure(abs(change)), begin, width, self.share(below_m3), look, note)

    def share(self, m3: Decimal) -> float:
        return round(float(max(m3, Decimal(0)) / self.top_m3 * 100), 3)

    def rounded(self, m3: Decimal) -> Decimal:
        return round(m3 * BOARD_FEET_PER_M3, 0) if self.is_board_feet else round(m3, 1)

    def figure(self, rounded: Decimal) -> str:
        return (
            _("%(count)s board feet") % {"count": fixed(rounded, 0)} if self.is_board_feet else f"{fixed(rounded)} m³"
        )
