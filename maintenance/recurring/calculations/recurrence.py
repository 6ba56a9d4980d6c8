"""When a recurring task falls due next, and why.

A schedule counts by the calendar, by running hours, by charges, or by several of them, whichever comes first. The
caller keeps two things after each completion: `NextDue.anchor_on`, and what each limit had been due at (the
`due_...` of `Completion`); without the latter it is inferred, as `Completion` says.

Where several limits are combined, a limit that did not come first counts afresh from completion, unless the work
lies inside its own window: kept anchored, it would leave nearly two intervals without work.
"""

import math
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import Final

from maintenance.recurring.calculations.calendar_rules import CalendarRule
from maintenance.recurring.calculations.meters import Forecast, Limit, MeterHistory, MeterRule, Reading
from maintenance.recurring.calculations.past_work import NOTHING_KNOWN, Begun, Completion
from maintenance.recurring.calculations.resets import (
    Reset,
    Settled,
    Timing,
    settle,
)
from maintenance.recurring.calculations.schedules import LimitDue, NextDue, Schedule
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
    timing, allowance = _allowance(schedule, rule, done)
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


def _allowance(schedule: Schedule, rule: MeterRule, done: Completion | None) -> tuple[Timing | None, float]:
    """Give the timing of the last work, and the use allowed since then."""
    reading = done.reading(rule.limit) if done else None
    due = done.due_reading(rule.limit) if done else None
    if reading is None or due is None:
        return None, rule.every
    count = math.floor((reading + rule.before - due) / rule.every) + 1
    if count > MOST_MISSED:
        raise ValueError(
            f"the reading {reading} lies {count} intervals past {due}, where the work was due: correct one of them"
        )
    opened = [due + k * rule.every for k in range(count)]
    settled = settle(due, opened, bool(opened) and reading <= opened[-1] + rule.after)
    if schedule.reset_after(settled.timing) is Reset.FROM_COMPLETION:
        return settled.timing, rule.every
    return settled.timing, settled.last + rule.every - reading


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
