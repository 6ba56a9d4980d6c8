"""The board of openings: what each kiln does day by day, the work in its openings, and the hours of the crew."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from django.utils.dates import MONTHS_3, WEEKDAYS_ABBR
from django.utils.formats import date_format
from django.utils.text import get_text_list
from django.utils.translation import get_language, ngettext
from django.utils.translation import gettext as _

from maintenance.actions.desk import TO_PLACE, Desk, has_place, load_desk
from maintenance.actions.entry import takes_people_inside
from maintenance.actions.leaving_out import say_left_out
from maintenance.actions.placing import Shout
from maintenance.calculations.ranking import Ranking, Work, rank_work
from maintenance.models import Defect, WorkOrder
from maintenance.programme import KilnProgramme
from plant import clock
from plant.models import Charge, Kiln

RANGES = (1, 2, 4, 8)
# The bracket under a charge's end reaches one standard deviation to each side: the end lies in it two times in three.
SPREAD_SDS = 1


@dataclass(frozen=True)
class Piece:
    """Something on a kiln's track; left and width in per cent of the board."""

    kind: str
    left: str
    width: str
    words: str
    label: str = ""
    key: str = ""


@dataclass
class Row:
    """One kiln on the board."""

    kiln: Kiln
    phases: list[Piece] = field(default_factory=list)
    downs: list[Piece] = field(default_factory=list)
    openings: list[Piece] = field(default_factory=list)
    spreads: list[Piece] = field(default_factory=list)
    running: list[Piece] = field(default_factory=list)


@dataclass
class Day:
    """One local day: its place on the board, the crew's hours, and the work of the day."""

    on: date
    left: str
    width: str
    is_weekend: bool
    work_h: float = 0.0
    capacity_h: float = 0.0
    orders: list[WorkOrder] = field(default_factory=list)
    # Heights of the bar and of the line of capacity, in per cent of the picture.
    bar: str = "0"
    bar_top: str = "100"
    line: str = "100"

    @property
    def is_over(self) -> bool:
        """Say whether more is placed than the crew has hours."""
        return self.work_h > self.capacity_h + 0.01


@dataclass
class Board:
    """What the page shows."""

    first_on: date
    last_on: date
    weeks: int
    rows: list[Row]
    days: list[Day]
    now_left: str
    desk: Desk
    # Chambers that nobody may enter, and the numbers of the jobs that have a place in them.
    barred_tags: list[str]
    barred: frozenset[str]

    @property
    def earlier_on(self) -> date:
        """Return where the board begins one page earlier."""
        return self.first_on - timedelta(weeks=self.weeks)

    @property
    def later_on(self) -> date:
        """Return where the board begins one page later."""
        return self.first_on + timedelta(weeks=self.weeks)


class _Scale:
    """Turns instants into per cent of the board."""

    def __init__(self, from_at: datetime, to_at: datetime) -> None:
        self.from_at, self.to_at = from_at, to_at
        self.whole_s = (to_at - from_at).total_seconds()

    def left(self, at: datetime) -> str:
        clipped = min(max(at, self.from_at), self.to_at)
        return f"{100 * (clipped - self.from_at).total_seconds() / self.whole_s:.3f}"

    def width(self, start_at: datetime, end_at: datetime) -> str:
        start, end = max(start_at, self.from_at), min(end_at, self.to_at)
        return f"{100 * max((end - start).total_seconds(), 0) / self.whole_s:.3f}"

    def shows(self, start_at: datetime, end_at: datetime) -> bool:
        return start_at < self.to_at and end_at > self.from_at


def build_board(first_on: date, weeks: int, now_at: datetime) -> Board:
    """Gather the board for some weeks from a local day on; a fixed number of queries."""
    desk = load_desk(now_at, now_at + timedelta(days=max(7 * weeks, 1) + max((first_on - now_at.date()).days, 0) + 2))
    zone = desk.mill.zone
    last_on = first_on + timedelta(days=7 * weeks - 1)
    scale = _Scale(clock.start_of_day(first_on, zone), clock.start_of_day(last_on + timedelta(days=1), zone))
    placed = _placed_by_kiln(desk)
    shut = barred_kilns(desk)
    barred = barred_jobs(desk, shut)
    rows = [_row(desk, one, scale, weeks, placed.get(kiln_id, []), barred) for kiln_id, one in desk.programme.items()]
    rows.sort(key=lambda row: row.kiln.tag)
    now_left = scale.left(now_at) if scale.shows(now_at, now_at + timedelta(minutes=1)) else ""
    days = _days(desk, first_on, weeks, scale, zone, placed)
    tags = sorted(desk.programme[kiln_id].kiln.tag for kiln_id in shut)
    return Board(first_on, last_on, weeks, rows, days, now_left, desk, tags, barred)


def barred_kilns(desk: Desk) -> dict[int, set[int]]:
    """Return kiln id -> the defects for which nobody may enter the chamber."""
    found: dict[int, set[int]] = defaultdict(set)
    for kiln_id, defect_id in Defect.objects.blocking_entry().filter(kiln__in=desk.programme).values_list("kiln", "pk"):
        found[kiln_id].add(defect_id)
    return dict(found)


def barred_jobs(desk: Desk, kilns: Mapping[int, set[int]]) -> frozenset[str]:
    """Return the placed jobs that would take people into a barred chamber; what mends the bar is none of them."""
    return frozenset(
        order.number
        for order in desk.orders.values()
        if order.kiln_id in kilns
        and has_place(order)
        and takes_people_inside(order)
        and order.defect_id not in kilns[order.kiln_id]
    )


def _when(at: datetime, zone: ZoneInfo) -> str:
    """Say an instant as the format "D j M H:i" does; by hand, for there may be thousands on a board."""
    local, (days, months) = at.astimezone(zone), _names(get_language() or "")
    return f"{days[local.weekday()]} {local.day} {months[local.month]} {local.hour:02}:{local.minute:02}"


@lru_cache(maxsize=16)
def _names(language: str) -> tuple[dict[int, str], dict[int, str]]:
    """Return the short names of days and months in the language that is spoken now."""
    days = {number: str(word) for number, word in WEEKDAYS_ABBR.items()}
    return days, {number: str(word).title() for number, word in MONTHS_3.items()}


def _row(
    desk: Desk,
    one: KilnProgramme,
    scale: _Scale,
    weeks: int,
    placed: Sequence[WorkOrder],
    barred: Collection[str],
) -> Row:
    row, zone = Row(one.kiln), desk.mill.zone
    for forecast in one.forecasts:
        charge = one.charges[forecast.charge.charge_id]
        for phase in forecast.phases:
            end_at = phase.end_at or scale.to_at
            if scale.shows(phase.start_at, end_at):
                words = _("charge %(number)s, %(phase)s until %(end)s") % {
                    "number": charge.number,
                    "phase": phase.kind.replace("_", " "),
                    "end": _when(end_at, zone),
                }
                left, width = scale.left(phase.start_at), scale.width(phase.start_at, end_at)
                row.phases.append(Piece(phase.kind, left, width, words))
        row.spreads += _spread(charge, forecast.end_at, forecast.end_sd_h, scale)
    for down in one.downtimes:
        end_at = down.end_at or scale.to_at
        if scale.shows(down.start_at, end_at):
            words = f"{down.get_kind_display()}: {down.cause}"
            left, width = scale.left(down.start_at), scale.width(down.start_at, end_at)
            row.downs.append(Piece(down.kind, left, width, words, down.cause))
    row.openings = list(_openings(desk, one, scale, weeks, placed, barred))
    row.running = list(_running(desk, scale, placed))
    return row


def _spread(charge: Charge, end_at: datetime | None, sd_h: float, scale: _Scale) -> Iterator[Piece]:
    if end_at is None or not sd_h:
        return
    apart = timedelta(hours=SPREAD_SDS * sd_h)
    if scale.shows(end_at - apart, end_at + apart):
        words = _("the end of charge %(number)s usually shifts by %(hours).0f h") % {
            "number": charge.number,
            "hours": sd_h,
        }
        left, width = scale.left(end_at - apart), scale.width(end_at - apart, end_at + apart)
        yield Piece("spread", left, width, words)


def _placed_by_kiln(desk: Desk) -> dict[int, list[WorkOrder]]:
    """Return kiln id -> the work that has a place, by start: every job is looked at once for a whole board."""
    found: dict[int, list[WorkOrder]] = defaultdict(list)
    for order in desk.orders.values():
        if has_place(order):
            found[order.kiln_id].append(order)
    for orders in found.values():
        orders.sort(key=_by_start)
    return found


def _by_start(order: WorkOrder) -> tuple[datetime, str]:
    return order.placement.start_at, order.number


def orders_in(desk: Desk, kiln: Kiln, after_charge_id: int | None) -> list[WorkOrder]:
    """Return the work that lies in an opening, by start."""
    return _lying_in(_placed_by_kiln(desk).get(kiln.pk, []), after_charge_id)


def _lying_in(placed: Iterable[WorkOrder], after_charge_id: int | None) -> list[WorkOrder]:
    """Pick from the placed work of a kiln what lies in the opening after a charge."""
    return [
        order
        for order in placed
        if order.placement.during_charge_id is None
        and order.placement.after_charge_id == after_charge_id
        and order.needs_state in ("empty", "still")
    ]


def _openings(
    desk: Desk,
    one: KilnProgramme,
    scale: _Scale,
    weeks: int,
    placed: Sequence[WorkOrder],
    barred: Collection[str],
) -> Iterator[Piece]:
    for gap in one.windows.openings:
        end_at = gap.end_at or max(scale.to_at, desk.until_at)
        if not scale.shows(gap.start_at, end_at) or end_at <= desk.now_at:
            continue
        orders = _lying_in(placed, gap.before_charge_id)
        count = _("1 job") if len(orders) == 1 else _("%d jobs") % len(orders)
        label = ""
        if orders:
            further = f" +{len(orders) - 1}" if len(orders) > 1 else ""
            label = str(len(orders)) if weeks > 4 else f"{orders[0].number}{further}"
        words = _("%(kiln)s open and empty, %(start)s to %(end)s: %(jobs)s") % {
            "kiln": one.kiln.tag,
            "start": _when(gap.start_at, desk.mill.zone),
            "end": _when(gap.end_at, desk.mill.zone) if gap.end_at else _("no further charge planned"),
            "jobs": count if orders else _("nothing placed"),
        }
        kind = "jobs" if orders else "free"
        if any(order.number in barred for order in orders):
            kind, label = "jobs barred", f"⚠ {label}"
            words = _("%(words)s; nobody may enter") % {"words": words}
        key = f"after-{gap.before_charge_id}" if gap.before_charge_id else "first"
        yield Piece(kind, scale.left(gap.start_at), scale.width(gap.start_at, end_at), words, label, key)


def _running(desk: Desk, scale: _Scale, placed: Iterable[WorkOrder]) -> Iterator[Piece]:
    for order in placed:
        place = order.placement
        if place.during_charge_id is not None and scale.shows(place.start_at, place.end_at):
            words = _("%(number)s %(title)s, while running, %(start)s") % {
                "number": order.number,
                "title": order.title,
                "start": _when(place.start_at, desk.mill.zone),
            }
            yield Piece("running", scale.left(place.start_at), "0", words, order.number)


def _days(
    desk: Desk,
    first_on: date,
    weeks: int,
    scale: _Scale,
    zone: ZoneInfo,
    placed: Mapping[int, Sequence[WorkOrder]],
) -> list[Day]:
    days, edges = [], [scale.from_at]
    for n in range(7 * weeks):
        on = first_on + timedelta(days=n)
        edges.append(clock.start_of_day(on + timedelta(days=1), zone))
        day = Day(on, scale.left(edges[n]), scale.width(edges[n], edges[n + 1]), on.weekday() >= 5)
        day.capacity_h = _capacity_h(desk, edges[n], edges[n + 1])
        days.append(day)
    _give_work_to_days(days, edges, sorted((order for orders in placed.values() for order in orders), key=_by_start))
    most = max([day.work_h for day in days] + [day.capacity_h for day in days] + [1.0])
    for day in days:
        day.bar, day.bar_top = f"{100 * day.work_h / most:.2f}", f"{100 - 100 * day.work_h / most:.2f}"
        day.line = f"{100 - 100 * day.capacity_h / most:.2f}"
    return days


def _give_work_to_days(days: Sequence[Day], edges: Sequence[datetime], orders: Iterable[WorkOrder]) -> None:
    """Let each job lie on the day of its start, and its hours on every day that it reaches into."""
    for order in orders:
        place = order.placement
        if place.start_at >= edges[-1] or place.end_at <= edges[0]:
            continue
        at = bisect_right(edges, place.start_at) - 1
        if at >= 0:
            days[at].orders.append(order)
        people = max(len(order.assignments.all()), 1)
        for n in range(max(at, 0), len(days)):
            if edges[n] >= place.end_at:
                break
            days[n].work_h += _shared_h(place.start_at, place.end_at, edges[n], edges[n + 1]) * people


def _shared_h(start_at: datetime, end_at: datetime, from_at: datetime, to_at: datetime) -> float:
    return max((min(end_at, to_at) - max(start_at, from_at)).total_seconds(), 0) / 3600


def _capacity_h(desk: Desk, from_at: datetime, to_at: datetime) -> float:
    """Hours that the crew is on shift and there."""
    total = 0.0
    for worker in desk.workers:
        on_duty = [(max(start, from_at), min(end, to_at)) for start, end in worker.duty]
        for start, end in on_duty:
            if end > start:
                total += (end - start).total_seconds() / 3600
                total -= sum(_shared_h(gone_from, gone_to, start, end) for gone_from, gone_to in worker.away)
    return max(total, 0.0)


@dataclass(frozen=True)
class Unplaced:
    """A job without a place, and why."""

    order: WorkOrder
    why: str


def unplaced(desk: Desk) -> tuple[list[Unplaced], list[Unplaced]]:
    """Return the jobs without a place: safety work, and apart from it all other, each by rank."""
    orders = [order for order in desk.orders.values() if not has_place(order) and order.state in TO_PLACE]
    ranking = rank_orders(orders)
    unsupplied = desk.unsupplied()

    def named(work: Sequence[Work]) -> list[Unplaced]:
        found = []
        for one in work:
            order = desk.orders[one.ref]
            because = unsupplied.get(one.ref) or order.no_place_why or _("Raised since the day was last worked out.")
            said = [say_left_out(order, desk.mill.zone)]
            said += [] if order.is_left_out else [because, desk.to_order(order)]
            found.append(Unplaced(order, " ".join(dict.fromkeys(words for words in said if words))))
        return found

    return named(ranking.safety), named(ranking.other)


def rank_orders(orders: Iterable[WorkOrder]) -> Ranking:
    """Rank work orders: safety work apart, the rest by cost of delay per hour of work."""
    return rank_work(
        Work(
            ref=order.number,
            work_hours=float(order.hours * order.crew),
            delay_cents_per_hour=round(order.cost_of_delay_per_day * 100 / 24),
            is_safety=order.is_safety,
            safety_at=order.safety_at or order.due_at,
        )
        for order in orders
    )


def safety_shouts(desk: Desk) -> list[Shout]:
    """Name the safety work that is late, has no place, or has one after its date."""
    found = []
    for order in sorted(desk.orders.values(), key=lambda order: order.safety_at or order.due_at):
        if not order.is_safety:
            continue
        latest_at = order.safety_at or order.due_at
        facts = {
            "number": order.number,
            "kiln": order.kiln.tag,
            "title": order.title,
            "date": date_format(latest_at.astimezone(desk.mill.zone), "j F Y"),
        }
        if has_place(order) and order.placement.end_at > latest_at:
            found.append(
                Shout(
                    "alarm",
                    _("%(kiln)s: %(title)s is placed after its safety date, %(date)s.") % facts,
                    order.number,
                )
            )
        elif latest_at < desk.now_at:
            words = _("%(kiln)s: %(title)s is past its safety date, %(date)s.") % facts
            found.append(Shout("alarm", words, order.number))
        elif not has_place(order) and order.state in TO_PLACE:
            words = _("%(kiln)s: %(title)s has no place before its safety date, %(date)s.") % facts
            found.append(Shout("alarm", words, order.number))
    return found


def _barred_words(board: Board) -> str:
    """Name the chambers that nobody may enter, and how many placed jobs must wait for it."""
    if not board.barred_tags:
        return ""
    said = {"kilns": get_text_list(board.barred_tags, _("and")), "jobs": len(board.barred)}
    if not board.barred:
        return _("Nobody may enter %(kilns)s.") % said
    words = ngettext(
        "Nobody may enter %(kilns)s: %(jobs)d job that is placed inside waits until the defect is mended.",
        "Nobody may enter %(kilns)s: %(jobs)d jobs that are placed inside wait until the defect is mended.",
        len(board.barred),
    )
    return words % said


def lead_sentence(board: Board, alarms: int) -> str:
    """Say in one sentence what matters to the planner this morning, what is unsafe first."""
    ahead: dict[str, int] = defaultdict(int)
    for order in board.desk.orders.values():
        if order.state not in TO_PLACE:
            continue
        ahead["placed" if has_place(order) else "short" if board.desk.short.get(order.pk) else "outside"] += 1
    parts = [
        _("1 job placed") if ahead["placed"] == 1 else _("%d jobs placed") % ahead["placed"],
        _("%d waiting for parts") % ahead["short"],
        _("%d outside any opening") % ahead["outside"],
    ]
    said = [_barred_words(board)]
    if alarms:
        said.append(
            _("1 safety matter needs you now.") if alarms == 1 else _("%d safety matters need you now.") % alarms
        )
    return " ".join(words for words in (*said, ", ".join(parts) + ".") if words)
