"""The hours of the crew against the hours that are placed, and the work day by day."""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from maintenance.board.scale import UNITS, Scale
from maintenance.board.seen import JobSeen

Span = tuple[datetime, datetime]
#: The list names the work of so many days at once.
LIST_DAYS = 7


@dataclass(frozen=True)
class OnDuty:
    """Somebody's time on shift, and the time away."""

    duty: Sequence[Span]
    away: Sequence[Span]


@dataclass
class Day:
    """A local day, or some of them: place on the board, hours of the crew, and the work that begins in it."""

    on: date
    left: str
    width: str
    is_weekend: bool
    last_on: date
    work_h: float = 0.0
    capacity_h: float = 0.0
    jobs: list[JobSeen] = field(default_factory=list)

    @property
    def is_over(self) -> bool:
        """Say whether more is placed than the crew has hours."""
        return self.work_h > self.capacity_h + 0.01


@dataclass(frozen=True)
class CrewPicture:
    """Bars of the hours placed, those that are too much, and the line of what the crew has: three SVG paths."""

    bars: str
    over: str
    limits: str
    most_h: float


def days_of(scale: Scale, jobs: Iterable[JobSeen], crew: Iterable[OnDuty]) -> list[Day]:
    """Return the days of the board with the hours of the crew and the work of each."""
    edges = scale.edges()
    days = []
    for n in range(scale.days):
        on = scale.first_on + timedelta(days=n)
        width = scale.width(edges[n], edges[n + 1])
        days.append(Day(on, scale.left(edges[n]), width, on.weekday() >= 5, on))
    for worker in crew:
        _add_capacity(days, edges, worker)
    for job in sorted(jobs, key=lambda job: (job.start_at, job.number)):
        _add_work(days, edges, job)
    return days


def _add_capacity(days: Sequence[Day], edges: Sequence[datetime], worker: OnDuty) -> None:
    for start_at, end_at in worker.duty:
        for n in _reached(edges, start_at, end_at):
            day_from, day_to = max(start_at, edges[n]), min(end_at, edges[n + 1])
            gone = sum(_shared_h(gone_from, gone_to, day_from, day_to) for gone_from, gone_to in worker.away)
            days[n].capacity_h += max((day_to - day_from).total_seconds() / 3600 - gone, 0)


def _add_work(days: Sequence[Day], edges: Sequence[datetime], job: JobSeen) -> None:
    """Let a job lie on the day of its start, and its hours on every day that it reaches into."""
    reached = _reached(edges, job.start_at, job.end_at)
    for n in reached:
        days[n].work_h += _shared_h(job.start_at, job.end_at, edges[n], edges[n + 1]) * max(len(job.people), 1)
    if reached and job.start_at >= edges[0]:
        days[reached[0]].jobs.append(job)


def _reached(edges: Sequence[datetime], start_at: datetime, end_at: datetime) -> range:
    """Return the numbers of the days that a span reaches into."""
    first = max(bisect_right(edges, start_at) - 1, 0)
    last = first
    while last < len(edges) - 1 and edges[last] < end_at:
        last += 1
    return range(first, last) if start_at < edges[-1] and end_at > edges[0] else range(0)


def _shared_h(start_at: datetime, end_at: datetime, from_at: datetime, to_at: datetime) -> float:
    return max((min(end_at, to_at) - max(start_at, from_at)).total_seconds(), 0) / 3600


def by_week(days: Sequence[Day]) -> list[Day]:
    """Join days into weeks that begin on Mondays; the first and the last may be short."""
    weeks: list[Day] = []
    for day in days:
        if not weeks or day.on.isoweekday() == 1:
            weeks.append(Day(day.on, day.left, "0", False, day.on))
        week = weeks[-1]
        week.work_h, week.capacity_h = week.work_h + day.work_h, week.capacity_h + day.capacity_h
        week.last_on = day.on
        week.width = f"{float(week.width) + float(day.width):.2f}"
    return weeks


def draw_crew(bars: Sequence[Day]) -> CrewPicture:
    """Draw the hours as bars in a picture of ``UNITS`` by 100."""
    most = max([bar.work_h for bar in bars] + [bar.capacity_h for bar in bars] + [1.0])
    paths = {False: "", True: ""}
    limits = ""
    for bar in bars:
        left, width = round(float(bar.left) * UNITS / 100), round(float(bar.width) * UNITS / 100)
        if bar.work_h:
            top = 100 - 100 * bar.work_h / most
            paths[bar.is_over] += (
                f"M{left + width * 0.1:.0f} {top:.1f}H{left + width * 0.9:.0f}V100H{left + width * 0.1:.0f}z"
            )
        limits += f"M{left} {100 - 100 * bar.capacity_h / most:.1f}h{width}"
    return CrewPicture(paths[False], paths[True], limits, most)
