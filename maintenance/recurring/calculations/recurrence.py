"""When a recurring task falls due next, and why.

A schedule counts by the calendar, by running hours, by charges, or by several of them, whichever comes first. The
caller keeps two things after each completion: `NextDue.anchor_on`, and what each limit had been due at (the
`due_...` of `Completion`); without the latter it is inferred, as `Completion` says.

Where several limits are combined, a limit that did not come first counts afresh from completion, unless the work
lies inside its own window: kept anchored, it would leave nearly two intervals without work.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Final

from maintenance.recurring.calculations.calendar_rules import CalendarRule, IntervalRule, MonthEnd, TextRule, Unit
from maintenance.recurring.calculations.meters import Forecast, Limit, MeterHistory, MeterRule, Reading
from maintenance.recurring.calculations.past_work import NOTHING_KNOWN, Begun, Completion
from maintenance.recurring.calculations.resets import (
    ALWAYS_FROM_COMPLETION,
    NO_WINDOW,
    Reset,
    Resets,
    Settled,
    Timing,
    Window,
    settle,
)
from plant.basics.sentences import Sentence, Sentences

MOST_MISSED: Final = 10_000
_CALLED: Final = {
    Limit.CALENDAR: Sentence.of("recur.calendar_first"),
    Limit.RUNNING_HOURS: Sentence.of("recur.running_hours_first"),
    Limit.CHARGES: Sentence.of("recur.charges_first"),
}
_BY: Final = {
    Limit.CALENDAR: Sentence.of("recur.by_calendar"),
    Limit.RUNNING_HOURS: Sentence.of("recur.by_running_hours"),
    Limit.CHARGES: Sentence.of("recur.by_charges"),
}


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
    hours or charges since the last work. `timing` says how the last work lay, `missed_on` and `missed_readings`
    which occurrences passed without work. `stands_for_on` is the date of the series that a catch-up stands for.
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
    missed_readings: tuple[float, ...] = ()
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


def next_due(
    schedule: Schedule,
    last_done: Completion | None,
    today: date,
    histories: Iterable[MeterHistory] = (),
    begun: Begun = NOTHING_KNOWN,
) -> NextDue:
    """Say when the work falls due next, by which limit, and why.

    Parameters
    ----------
    schedule : Schedule
        the limits, window and resets.
    last_done : Completion, optional
        the last work; None if it was never done: the calendar then begins with its anchor, a meter with its first
        reading.
    today : date
        local day up to which occurrences without work count as missed.
    histories : Iterable[MeterHistory]
        readings and charge programme of the meters that the schedule counts.
    begun : Begun
        when the task was entered, and what was given up since the last work.

    Returns
    -------
    NextDue
        the date with its window, reason and all limits.

    Raises
    ------
    ValueError
        for two histories of one meter, or a reading so far past its due reading that it must be wrong.
    """
    by_limit = _by_limit(histories)
    limits = [_calendar_due(schedule, schedule.calendar, last_done, today, begun)] if schedule.calendar else []
    for rule in schedule.meters:
        history = by_limit.get(rule.limit, MeterHistory(rule.limit))
        limits.append(_meter_due(schedule, rule, last_done, history, begun))
    # The calendar stands first and sorting is stable: on a tie it governs, being no prediction.
    limits.sort(key=lambda found: found.due_on or date.max)
    first = limits[0]
    calendar = next((found for found in limits if found.limit is Limit.CALENDAR), None)
    return NextDue(
        due_on=first.due_on,
        earliest_on=first.earliest_on,
        latest_on=min((found.latest_on for found in limits if found.latest_on), default=None),
        reason=_say_race(limits),
        limits=tuple(limits),
        anchor_on=calendar.anchor_on if calendar else None,
        missed_on=calendar.missed_on if calendar else (),
    )


def next_dates(
    schedule: Schedule,
    after: date,
    count: int = 6,
    last_done: Completion | None = None,
    histories: Iterable[MeterHistory] = (),
    begun: Begun = NOTHING_KNOWN,
) -> list[date]:
    """Give the next dates of a schedule, to be looked at before it is saved.

    With meters the dates are a prediction that supposes every work done on the day it falls due.

    Parameters
    ----------
    schedule : Schedule
        the schedule.
    after : date
        local day; only dates after it are given.
    count : int
        how many dates, 0 or more.
    last_done : Completion, optional
        the last work, for schedules with meters.
    histories : Iterable[MeterHistory]
        readings and charge programmes, for schedules with meters.
    begun : Begun
        as for `next_due`, for schedules with meters.

    Returns
    -------
    list[date]
        dates in rising order; fewer than `count` where the rule ends or no forecast reaches further.
    """
    if schedule.meters:
        return _predicted_dates(schedule, after, count, next_due(schedule, last_done, after, histories, begun))
    dates: list[date] = []
    on = schedule.calendar.next_after(after) if schedule.calendar and count > 0 else None
    while on is not None and schedule.calendar and len(dates) < count:
        dates.append(on)
        on = schedule.calendar.next_after(on) if len(dates) < count else None
    return dates


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


def _by_limit(histories: Iterable[MeterHistory]) -> dict[Limit, MeterHistory]:
    by_limit: dict[Limit, MeterHistory] = {}
    for history in histories:
        if history.limit in by_limit:
            raise ValueError(f"two histories of {history.limit.value} are given: join their readings into one")
        by_limit[history.limit] = history
    return by_limit


def _calendar_due(
    schedule: Schedule, rule: CalendarRule, done: Completion | None, today: date, begun: Begun
) -> LimitDue:
    """Say when the calendar falls due, what was missed, and which anchor to keep."""
    timing: Timing | None = None
    missed: tuple[date, ...] = ()
    stands_for_on: date | None = None
    if done is None:
        due_on = next(rule.dates(), None)
        reason: Sentences = (Sentence.of("recur.never_done"),)
        if due_on and begun.entered_on and due_on < begun.entered_on:
            stands_for_on, due_on = rule.between(due_on, begun.entered_on)[-1], begun.entered_on
            reason = (Sentence.of("recur.once_now", before_on=due_on),)
    else:
        rule, due_on, settled = _calendar_after(schedule, rule, done)
        timing, missed = settled.timing, settled.missed
        reason = (_say_calendar(rule, done, settled),)
    if due_on and begun.passed_over:
        passed_on = begun.passed_over.on
        rule, following_on = _after_passed_over(schedule, rule, due_on, passed_on)
        if following_on != due_on:
            due_on, stands_for_on = following_on, None
            reason = (Sentence.of("recur.after_withdrawn", passed_on=passed_on),)
    if due_on is None:
        reason += (Sentence.of("recur.ended"),)
    else:
        missed += tuple(rule.between(due_on + timedelta(days=1), today))
    return LimitDue(
        limit=Limit.CALENDAR,
        due_on=due_on,
        earliest_on=schedule.window.earliest_on(due_on) if due_on else None,
        latest_on=schedule.window.latest_on(due_on) if due_on else None,
        reason=reason,
        timing=timing,
        anchor_on=rule.anchor_on,
        missed_on=missed,
        stands_for_on=stands_for_on,
    )


def _after_passed_over(
    schedule: Schedule, rule: CalendarRule, due_on: date, passed_on: date
) -> tuple[CalendarRule, date | None]:
    """Give the date after an occurrence that was given up, and its rule; the same date where it still stands."""
    if due_on <= passed_on:
        return rule, rule.next_after(passed_on)
    if not schedule.is_combined:
        return rule, due_on
    if schedule.window.earliest_on(due_on) <= passed_on:
        return rule, rule.next_after(due_on)
    # Another limit came first: as after work, the calendar counts afresh.
    rule = rule.anchored_on(passed_on)
    return rule, rule.next_after(passed_on)


def _calendar_after(
    schedule: Schedule, rule: CalendarRule, done: Completion
) -> tuple[CalendarRule, date | None, Settled[date]]:
    """Settle a completion; give the rule with the anchor to keep, and its next date."""
    due_on = done.due_on or _inferred_due(schedule, rule, done.done_on)
    opened = rule.between(due_on, done.done_on + timedelta(days=schedule.window.before_days))
    inside = bool(opened) and done.done_on <= schedule.window.latest_on(opened[-1])
    settled = settle(due_on, opened, inside)
    counts_afresh = schedule.is_combined and done.due_on is None
    if counts_afresh or schedule.reset_after(settled.timing) is Reset.FROM_COMPLETION:
        rule = rule.anchored_on(done.done_on)
        return rule, rule.next_after(done.done_on), settled
    return rule, rule.next_after(settled.last), settled


def _inferred_due(schedule: Schedule, rule: CalendarRule, done_on: date) -> date:
    """Guess what a completion was due on: the date whose window holds it, else the nearest, else itself."""
    opened = rule.between(rule.anchor_on, done_on + timedelta(days=schedule.window.before_days))
    if opened and done_on <= schedule.window.latest_on(opened[-1]):
        return opened[-1]
    return rule.nearest(done_on) or done_on


def _meter_due(
    schedule: Schedule, rule: MeterRule, done: Completion | None, history: MeterHistory, begun: Begun
) -> LimitDue:
    """Say when a meter will reach its limit."""
    base = _base_reading(rule, done, history)
    use = history.since(base)
    timing, missed, allowance = _allowance(schedule, rule, done)
    passed = begun.passed_over.amount(rule.limit) if begun.passed_over else None
    if passed is not None:
        allowance = passed + rule.every
    forecast = history.forecast(use)
    left = allowance - use.used
    due_on = forecast.reached_on(allowance)
    reason = _say_meter(rule, forecast, allowance, due_on)
    entered_on = begun.entered_on
    if done is None and due_on and entered_on and due_on < entered_on:
        # Reached before anybody asked for it: once, from then on.
        due_on = entered_on
        reason = Sentence.of("recur.never_done_known", reason=reason)
    return LimitDue(
        limit=rule.limit,
        due_on=due_on,
        earliest_on=forecast.reached_on(allowance - rule.before) if due_on else None,
        latest_on=_latest_by_meter(rule, forecast, allowance, due_on),
        reason=(reason,),
        timing=timing,
        due_reading=use.last_reading.value + left if use.last_reading else None,
        missed_readings=missed,
        allowance=allowance,
        used=use.used,
        left=left,
        forecast=forecast,
        notes=use.notes,
    )


def _latest_by_meter(rule: MeterRule, forecast: Forecast, allowance: float, due_on: date | None) -> date | None:
    latest_on = forecast.reached_on(allowance + rule.after) if due_on else None
    return max(latest_on, due_on) if latest_on and due_on else None


def _base_reading(rule: MeterRule, done: Completion | None, history: MeterHistory) -> Reading | None:
    """Give the reading at the last work; where it was not read, the one before, which counts too much at worst."""
    if done is None:
        return None
    value = done.reading(rule.limit)
    if value is not None:
        return Reading(done.done_on, value)
    earlier = [reading for reading in history.ordered if reading.read_on <= done.done_on]
    return earlier[-1] if earlier else None


def _allowance(
    schedule: Schedule, rule: MeterRule, done: Completion | None
) -> tuple[Timing | None, tuple[float, ...], float]:
    """Give timing and missed readings of the last work, and the use allowed since then."""
    reading = done.reading(rule.limit) if done else None
    due = done.due_reading(rule.limit) if done else None
    if reading is None or due is None:
        return None, (), rule.every
    count = math.floor((reading + rule.before - due) / rule.every) + 1
    if count > MOST_MISSED:
        raise ValueError(
            f"the reading {reading} lies {count} intervals past {due}, where the work was due: correct one of them"
        )
    opened = [due + k * rule.every for k in range(count)]
    settled = settle(due, opened, bool(opened) and reading <= opened[-1] + rule.after)
    if schedule.reset_after(settled.timing) is Reset.FROM_COMPLETION:
        return settled.timing, settled.missed, rule.every
    return settled.timing, settled.missed, settled.last + rule.every - reading


def _predicted_dates(schedule: Schedule, after: date, count: int, due: NextDue) -> list[date]:
    """Play the schedule forward, every work done on the day it falls due."""
    targets = {found.limit: found.allowance or 0.0 for found in due.limits if found.forecast}
    forecasts = {found.limit: found.forecast for found in due.limits if found.forecast}
    calendar = due.limit(Limit.CALENDAR)
    rule = schedule.calendar.anchored_on(due.anchor_on) if schedule.calendar and due.anchor_on else None
    calendar_on = calendar.due_on if calendar else None
    dates: list[date] = []
    for _ in range(count + MOST_MISSED):
        options = [on for limit, forecast in forecasts.items() if (on := forecast.reached_on(targets[limit]))]
        on = min([*options, calendar_on] if calendar_on else options, default=None)
        if on is None or len(dates) >= count:
            break
        if on > after and (not dates or on > dates[-1]):
            dates.append(on)
        for meter in schedule.meters:
            amount = forecasts[meter.limit].amount_on(on)
            reached = targets[meter.limit] - meter.before <= amount or on == forecasts[meter.limit].reached_on(
                targets[meter.limit]
            )
            targets[meter.limit] = (targets[meter.limit] if reached else amount) + meter.every
        if rule and calendar_on:
            if on < schedule.window.earliest_on(calendar_on):
                rule = rule.anchored_on(on)
                calendar_on = rule.next_after(on)
            else:
                calendar_on = rule.next_after(calendar_on)
    return dates


def _say_calendar(rule: CalendarRule, done: Completion, settled: Settled[date]) -> Sentence:
    """Say what the next calendar date is counted from."""
    if rule.anchor_on == done.done_on and rule.anchor_on != settled.settled:
        return Sentence.of("recur.counted_from", done_on=done.done_on, rule=rule.describe())
    told = {"rule": rule.describe(), "done_on": done.done_on, "window_on": settled.settled}
    match settled.timing:
        case Timing.EARLY:
            return Sentence.of("recur.was_early", **told)
        case Timing.INSIDE:
            return Sentence.of("recur.was_inside", **told)
    return Sentence.of("recur.was_late", **told)


def _say_meter(rule: MeterRule, forecast: Forecast, allowance: float, due_on: date | None) -> Sentence:
    """Say how much is left and what the date rests on."""
    used, left = forecast.use.used, allowance - forecast.use.used
    allowed = rule.limit.say(allowance)
    if due_on and left <= 0:
        return Sentence.of("recur.reached", allowed=allowed, reached_on=due_on, used=rule.limit.say(used))
    start = Sentence.of("recur.left", left=rule.limit.say(left), allowed=allowed)
    if due_on is None and forecast.daily_rate == 0:
        return Sentence.of("recur.stands_still", left=start)
    why = forecast.says_why(allowance)
    if due_on is None:
        return Sentence.of("recur.no_date", left=start, why=why or Sentence.of("recur.too_far"))
    return Sentence.of("recur.by_forecast", left=start, why=why or Sentence.of("recur.too_far"))


def _say_race(limits: Sequence[LimitDue]) -> Sentences:
    """Say which limit comes first and what the others would be."""
    first = limits[0]
    if len(limits) == 1:
        return first.reason
    if first.due_on is None:
        return tuple(one for found in limits for one in found.reason)
    others = [
        Sentence.of("recur.other", by=_BY[found.limit], would_be_on=found.due_on)
        if found.due_on
        else Sentence.of("recur.other_without_date", by=_BY[found.limit], reason=found.reason)
        for found in limits[1:]
    ]
    return (_CALLED[first.limit], *first.reason, *others)
