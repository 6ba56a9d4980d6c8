"""Who is there in a week: shifts less absences, as bars over the days."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils.dates import WEEKDAYS as WEEKDAY_NAMES
from django.utils.translation import gettext as _

from plant.clock import start_of_day
from plant.models import Absence, DayOff, Person, ShiftDuty
from plant.models.people import WEEKDAYS

WEEK = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Bar:
    """A shift on one day: where it begins in the week and how long it is, in per cent of the week."""

    left: float
    width: float
    text: str
    is_absent: bool


@dataclass(frozen=True, slots=True)
class PersonWeek:
    """A person's week."""

    person: Person
    bars: list[Bar]


def week_of(people: Iterable[Person], day: date, zone: ZoneInfo) -> list[PersonWeek]:
    """Return the week that holds a day, for people; three queries."""
    people = list(people)
    monday = day - timedelta(days=day.weekday())
    start_at, end_at = start_of_day(monday, zone), start_of_day(monday + WEEK, zone)
    duties: dict[int, list[ShiftDuty]] = defaultdict(list)
    known = ShiftDuty.objects.filter(person__in=people, from_on__lt=monday + WEEK).select_related("shift")
    for duty in known.order_by("shift__start_time"):
        duties[duty.person_id].append(duty)
    absences: dict[int, list[Absence]] = defaultdict(list)
    for absence in Absence.objects.filter(person__in=people, start_at__lt=end_at, end_at__gt=start_at):
        absences[absence.person_id].append(absence)
    days_off = DayOff.between(monday, monday + timedelta(days=6))
    return [
        PersonWeek(person, _bars(duties[person.pk], absences[person.pk], days_off, monday, zone)) for person in people
    ]


def say_weekdays(weekdays: str) -> str:
    """Say the weekdays of a shift: Monday to Friday; Monday, Wednesday, Saturday."""
    wanted = {name.strip() for name in weekdays.split(",")}
    runs: list[list[int]] = []
    for number in (number for number, name in enumerate(WEEKDAYS) if name in wanted):
        if runs and runs[-1][-1] == number - 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    if runs == [list(range(7))]:
        return _("every day")
    said: list[str] = []
    for run in runs:
        names = [str(WEEKDAY_NAMES[number]) for number in run]
        # Two days in a row are named, more are a stretch.
        is_stretch = len(run) > 2
        said += [_("%(first)s to %(last)s") % {"first": names[0], "last": names[-1]}] if is_stretch else names
    return ", ".join(said)


def _bars(
    duties: list[ShiftDuty], absences: list[Absence], days_off: Collection[date], monday: date, zone: ZoneInfo
) -> list[Bar]:
    bars = []
    for duty in duties:
        shift = duty.shift
        for day in (monday + timedelta(days=number) for number in range(7)):
            if not duty.begins_on(day, days_off):
                continue
            start = datetime.combine(day, shift.start_time)
            end = datetime.combine(day, shift.end_time)
            end += timedelta(days=1) if shift.end_time <= shift.start_time else timedelta(0)
            from_at, until_at = start.replace(tzinfo=zone), end.replace(tzinfo=zone)
            is_absent = any(away.start_at < until_at and away.end_at > from_at for away in absences)
            # The picture counts hours of the clock on the wall, so that every day is as wide as the next.
            week_start = datetime.combine(monday, datetime.min.time())
            left = (start - week_start) / WEEK * 100
            width = min((end - start) / WEEK * 100, 100 - left)
            text = f"{shift.name} {shift.start_time:%H:%M}–{shift.end_time:%H:%M}"
            bars.append(Bar(round(left, 2), round(width, 2), text, is_absent))
    return bars
