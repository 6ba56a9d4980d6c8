"""Roll 30,000 recurring tasks five years ahead, against plain `dateutil.rrule`.

The baseline gets its rule objects ready-made and untimed, and is only asked for the dates; ours starts from the
schedules. Ours gives arrays of days, so the time to make Python dates of them is counted as well.
"""

from collections.abc import Callable
from datetime import date, datetime, timedelta

from maintenance.recurring.calculations.calendar_rules import CalendarRule, IntervalRule, MonthEnd, TextRule, Unit
from maintenance.recurring.calculations.rolling import roll_forward
from maintenance.recurring.calculations.schedules import Schedule
from tests.benchmarks.harness import BenchmarkError, Measured, at_least, timed
from tests.benchmarks.plain_dateutil import plain_rule

TASKS = 30_000
FROM_ON = date(2026, 11, 25)
UNTIL_ON = date(2031, 11, 24)
LEAST_RATIO = 20

# What a sawmill's recurring tasks look like: mostly by the month, some by the week, few by the day.
_MIX: tuple[Callable[[int, date], CalendarRule], ...] = (
    lambda n, on: IntervalRule((7, 10, 14, 21, 30, 90)[n % 6], Unit.DAYS, on),
    lambda n, on: IntervalRule((1, 2, 4, 6)[n % 4], Unit.WEEKS, on),
    lambda n, on: IntervalRule((1, 2, 3, 6)[n % 4], Unit.MONTHS, on),
    lambda n, on: IntervalRule((1, 3)[n % 2], Unit.MONTHS, on.replace(month=1, day=31), MonthEnd.LAST_DAY),
    lambda n, on: IntervalRule((1, 2)[n % 2], Unit.MONTHS, on.replace(month=1, day=31), MonthEnd.LEAVE_OUT),
    lambda n, on: IntervalRule((1, 2, 5)[n % 3], Unit.YEARS, on),
    lambda n, on: TextRule(("FREQ=WEEKLY;BYDAY=MO", "FREQ=WEEKLY;BYDAY=MO,TH")[n % 2], on),
    lambda n, on: TextRule("FREQ=WEEKLY;INTERVAL=2;BYDAY=TU,FR", on),
    lambda n, on: TextRule(f"FREQ=MONTHLY;BYMONTHDAY={1 + n % 28}", on),
    lambda n, on: TextRule("FREQ=MONTHLY;BYMONTHDAY=-1", on),
    lambda n, on: TextRule(("FREQ=MONTHLY;BYDAY=1MO", "FREQ=MONTHLY;INTERVAL=3;BYDAY=-1FR")[n % 2], on),
    lambda n, on: TextRule("FREQ=YEARLY;BYMONTH=4,10;BYMONTHDAY=15", on),
)


def standing_tasks(count: int) -> list[Schedule]:
    """Make schedules with anchors spread over the year before the first day."""
    return [Schedule(_MIX[n % len(_MIX)](n // len(_MIX), FROM_ON - timedelta(days=n * 37 % 365))) for n in range(count)]


def run() -> list[Measured]:
    """Measure both, and refuse to compare unless every date is the same."""
    schedules = standing_tasks(TASKS)
    rules = [plain_rule(schedule.calendar) for schedule in schedules if schedule.calendar]
    first, last = (datetime(on.year, on.month, on.day) for on in (FROM_ON, UNTIL_ON))

    def ours() -> list[list[date]]:
        rolled = roll_forward(schedules, FROM_ON, UNTIL_ON)
        return rolled.lists()

    seconds, dates = timed(ours, repeats=3)
    plain_seconds, moments = timed(lambda: [rule.between(first, last, inc=True) for rule in rules])
    for schedule, found, expected in zip(schedules, dates, moments, strict=True):
        if found != [moment.date() for moment in expected]:
            raise BenchmarkError(f"other dates than dateutil for {schedule.describe()}, {schedule.calendar}")
    ratio = plain_seconds / seconds
    total = sum(len(found) for found in dates)
    name = f"roll {TASKS:,} recurring tasks five years ahead, {total:,} equal dates"
    return [Measured(name, seconds, plain_seconds, "s", ratio, at_least(LEAST_RATIO))]
