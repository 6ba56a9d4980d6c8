"""Give up an occurrence of a recurring task without work: what counts as dealt with from then on."""

import math
from datetime import date

from maintenance.recurring.calculations.meters import Limit, MeterRule
from maintenance.recurring.calculations.past_work import PassedOver
from maintenance.recurring.calculations.schedules import LimitDue, NextDue, Schedule

# Guards a floor against the last digit of a forecast; far below any use that matters.
ROUNDING = 1e-6


def pass_over(schedule: Schedule, due: NextDue, due_on: date, today: date) -> PassedOver:
    """Give up the occurrence that is due: it counts as dealt with when it was due.

    A predicted date shifts with every reading, so the use at which it was due is kept, not the date alone. The next
    occurrence lies one interval after it, as after work done exactly when due: there both resets agree. What was due
    again meanwhile is given up with it, as one catch-up stands for all of it.

    Parameters
    ----------
    schedule : Schedule
        the schedule.
    due : NextDue
        what it says now.
    due_on : date
        local day the work had been raised for.
    today : date
        local day.

    Returns
    -------
    PassedOver
        the day and the use up to which all is dealt with.
    """
    on = max(due_on, due.due_on or due_on)
    if on < today:
        on = today
    amounts = {rule.limit: _amount(rule, found, on) for rule in schedule.meters if (found := due.limit(rule.limit))}
    return PassedOver(on, amounts.get(Limit.RUNNING_HOURS), amounts.get(Limit.CHARGES))


def _amount(rule: MeterRule, found: LimitDue, on: date) -> float | None:
    """Give the use that is dealt with on a day: that at which the limit was due, else, in a race, that of the day."""
    if found.forecast is None or found.allowance is None:
        return None
    expected = found.forecast.amount_on(on)
    is_due = found.due_on is not None and found.due_on <= on
    if not is_due and expected < found.allowance - rule.before:
        return expected
    further = max(0, math.floor((expected - found.allowance) / rule.every + ROUNDING))
    return found.allowance + further * rule.every
