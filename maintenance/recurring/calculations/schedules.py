"""What a recurring task is counted by, and what comes out: the next due date with its reason."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from maintenance.recurring.calculations.calendar_rules import CalendarRule, IntervalRule, MonthEnd, TextRule, Unit
from maintenance.recurring.calculations.meters import Forecast, Limit, MeterRule
from maintenance.recurring.calculations.resets import (
    ALWAYS_FROM_COMPLETION,
    NO_WINDOW,
    Reset,
    Resets,
    Timing,
    Window,
)
from plant.basics.sentences import Sentence, Sentences


@dataclass(frozen=True)
class Schedule:
    """When a recurring task recurs.

    Parameters
    ----------
    calendar : CalendarRule, optional
        dates, counted from their anchor.
    meters : tuple[MeterRule, ...]
        running hours and charges, at most one rule each, with windows of their own.
    window : Window
        days round a calendar date.
    resets : Resets
        what the next one is counted from.

    Raises
    ------
    ValueError
        for a schedule without any limit, two rules of one meter, a window as long as the interval, or a counted
        rule text (COUNT) that would have to be counted afresh.
    """

    calendar: CalendarRule | None = None
    meters: tuple[MeterRule, ...] = ()
    window: Window = NO_WINDOW
    resets: Resets = ALWAYS_FROM_COMPLETION

    def __post_init__(self) -> None:
        if self.calendar is None and not self.meters:
            raise ValueError("the schedule has no limit: give a calendar rule, running hours or charges")
        if len({rule.limit for rule in self.meters}) < len(self.meters):
            raise ValueError("the schedule has two rules for one meter: keep the shorter interval")
        if isinstance(self.calendar, IntervalRule):
            shortest = self.calendar.step_days or 28 * (self.calendar.step_months or 1)
            if self.window.before_days >= shortest:
                raise ValueError(
                    f"the window opens {self.window.before_days} days before, but the work may recur "
                    f"after {shortest} days: open the window later than the date before"
                )
        if isinstance(self.calendar, TextRule) and self.calendar.parts.count is not None and self._restarts:
            raise ValueError(
                f"the rule {self.calendar.parts.text} counts its dates, but the series may be counted afresh from "
                "completion: write UNTIL instead of COUNT, or keep the dates anchored"
            )

    @property
    def is_combined(self) -> bool:
        """Whether several limits race and the first one counts."""
        return len(self.meters) + (self.calendar is not None) > 1

    @property
    def _restarts(self) -> bool:
        resets = (self.resets.early, self.resets.inside, self.resets.late)
        return self.is_combined or Reset.FROM_COMPLETION in resets

    def describe(self) -> Sentence:
        """Say the schedule in plain words."""
        told = [] if self.calendar is None else [self.calendar.describe()]
        said, *others = [*told, *(rule.describe() for rule in self.meters)]
        for one in others:
            said = Sentence.of("recur.or", first=said, last=one)
        return Sentence.of("recur.whichever_first", limits=said) if self.is_combined else said

    def reset_after(self, timing: Timing) -> Reset:
        """Give the reset for work done at that time, as seen by one of the limits."""
        if self.is_combined and timing is Timing.EARLY:
            return Reset.FROM_COMPLETION
        return self.resets.after(timing)


@dataclass(frozen=True)
class LimitDue:
    """When one limit falls due.

    `due_on`, `earliest_on` and `latest_on` are None where no date can be told or the rule has ended; for a meter
    they are predictions. `due_reading` is what the present meter will show, `allowance`, `used` and `left` are in
    hours or charges since the last work. `timing` says how the last work lay, `missed_on` which
    occurrences passed without work. `stands_for_on` is the date of the series that a catch-up stands for.
    """

    limit: Limit
    due_on: date | None
    earliest_on: date | None
    latest_on: date | None
    reason: Sentences
    timing: Timing | None = None
    anchor_on: date | None = None
    missed_on: tuple[date, ...] = ()
    due_reading: float | None = None
    allowance: float | None = None
    used: float | None = None
    left: float | None = None
    forecast: Forecast | None = None
    notes: Sentences = ()
    stands_for_on: date | None = None


@dataclass(frozen=True)
class NextDue:
    """When the work falls due next.

    `limits` holds every limit, the governing one first; `anchor_on` is the anchor to keep for the calendar rule
    (None without one); `missed_on` are the calendar occurrences that passed without work, to be recorded: there is
    one catch-up, on `due_on`.
    """

    due_on: date | None
    earliest_on: date | None
    latest_on: date | None
    reason: Sentences
    limits: tuple[LimitDue, ...]
    anchor_on: date | None
    missed_on: tuple[date, ...]

    @property
    def governed_by(self) -> Limit | None:
        """The limit that comes first, None if no date can be told."""
        return self.limits[0].limit if self.due_on else None

    @property
    def is_predicted(self) -> bool:
        """Whether the date rests on a forecast of a meter."""
        return self.governed_by in (Limit.RUNNING_HOURS, Limit.CHARGES)

    def limit(self, limit: Limit) -> LimitDue | None:
        """Give what one limit says, None if the schedule does not have it."""
        return next((found for found in self.limits if found.limit is limit), None)


def schedule_from_fields(
    *,
    anchor_on: date | None = None,
    rrule: str = "",
    every: int | None = None,
    unit: str = "",
    month_end: str = MonthEnd.LAST_DAY,
    every_running_hours: float | Decimal | None = None,
    every_charges: int | None = None,
    window_before_days: int = 0,
    window_after_days: int = 0,
    window_before_hours: float | Decimal = 0,
    window_after_hours: float | Decimal = 0,
    window_before_charges: int = 0,
    window_after_charges: int = 0,
    reset_early: str = Reset.FROM_COMPLETION,
    reset_inside: str = Reset.ANCHORED,
    reset_late: str = Reset.FROM_COMPLETION,
) -> Schedule:
    """Make a schedule from the fields of a form or record.

    Parameters
    ----------
    anchor_on : date, optional
        first date of the calendar series; needed with `rrule` or `every`.
    rrule : str
        rule text of RFC 5545, or empty.
    every, unit : int, str
        interval and one of `Unit`, instead of `rrule`.
    month_end : str
        one of `MonthEnd`.
    every_running_hours, every_charges
        interval in hours and in charges, None or 0 for none.
    window_before_days, window_after_days
        window round a calendar date, in days; those in hours and charges likewise for the meters.
    reset_early, reset_inside, reset_late : str
        each one of `Reset`.

    Raises
    ------
    ValueError
        if the fields contradict each other or a value is unknown.
    """
    meters = []
    if every_running_hours:
        before, after = float(window_before_hours), float(window_after_hours)
        meters.append(MeterRule(Limit.RUNNING_HOURS, float(every_running_hours), before, after))
    if every_charges:
        meters.append(MeterRule(Limit.CHARGES, every_charges, window_before_charges, window_after_charges))
    return Schedule(
        calendar=_calendar_from_fields(anchor_on, rrule, every, unit, month_end),
        meters=tuple(meters),
        window=Window(window_before_days, window_after_days),
        resets=Resets(Reset(reset_early), Reset(reset_inside), Reset(reset_late)),
    )


def _calendar_from_fields(
    anchor_on: date | None, rrule: str, every: int | None, unit: str, month_end: str
) -> CalendarRule | None:
    if rrule and every:
        raise ValueError("a rule text and an interval are both given: keep one of them")
    if not rrule and not every:
        return None
    if anchor_on is None:
        raise ValueError("the first date is missing: give the day from which the calendar counts")
    if rrule:
        return TextRule(rrule, anchor_on)
    return IntervalRule(every or 0, Unit(unit), anchor_on, MonthEnd(month_end))
