"""Dates of a recurring task that were skipped or moved: what they make of its series.

The series itself stays where it is: a moved date keeps its place in it, so that its job is raised once, what follows is
counted on from the date of the series, and the change can be taken back. Only dates of the calendar can be moved; one
that running hours or charges make shifts with each reading, and is skipped at the use at which it was due.
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta

from maintenance.models import ChangedDate, StandingTask
from maintenance.recurring.calculations.past_work import Completion, PassedOver
from maintenance.recurring.calculations.schedules import NextDue
from plant.basics.sentences import Sentence, typed


def standing_changes(task: StandingTask) -> dict[date, ChangedDate]:
    """Return date of the series -> what was changed of it and stands; one query, none where they were prefetched."""
    if task.pk is None:
        return {}
    return {one.due_on: one for one in task.changed_dates.all() if one.taken_back_at is None}


def series_on(task: StandingTask, on: date) -> date:
    """Return the date of the series for a day on which work is due: another where that was moved."""
    return next((one.due_on for one in standing_changes(task).values() if one.moved_to_on == on), on)


def moved_on(task: StandingTask, due_on: date) -> date:
    """Return the day on which the work of a date of the series is due: another where that was moved."""
    change = standing_changes(task).get(due_on)
    return change.moved_to_on if change and change.moved_to_on else due_on


def without_skipped(task: StandingTask, dates: Iterable[date]) -> list[date]:
    """Return the dates of the series that are not skipped."""
    changes = standing_changes(task)
    return [on for on in dates if on not in changes or not changes[on].is_skipped]


def skipped_by_meter(task: StandingTask) -> PassedOver | None:
    """Return the last date that was skipped since the last work, of a task that counts running hours or charges."""
    skipped = [
        one for one in standing_changes(task).values() if one.is_skipped and one.after_done_on == task.last_done_on
    ]
    last = max(skipped, key=lambda one: (one.due_on, one.pk), default=None)
    if last is None or (last.passed_running_h is None and last.passed_charges is None):
        return None
    hours, charges = (None if use is None else float(use) for use in (last.passed_running_h, last.passed_charges))
    return PassedOver(last.due_on, hours, charges)


def as_moved(task: StandingTask, due: NextDue) -> NextDue:
    """Return what is due with its day where that was moved, and why."""
    change = standing_changes(task).get(due.due_on) if due.due_on else None
    if change is None or change.moved_to_on is None:
        return due
    why = Sentence.of("recur.moved", from_on=change.due_on, why=typed(change.why))
    return replace(due, due_on=change.moved_to_on, reason=(why, *due.reason))


def as_skipped(due: NextDue, change: ChangedDate) -> NextDue:
    """Return what is due after a skipped date, and why."""
    return replace(due, reason=(Sentence.of("recur.skipped", skipped_on=change.due_on, why=typed(change.why)),))


def judged_from_where_it_was_moved(task: StandingTask, done: Completion) -> Completion:
    """Let work on a moved date be early or late from the day it was moved to; where the series stays, it is in time."""
    if done.due_on is None or (to_on := moved_on(task, done.due_on)) == done.due_on:
        return done
    if done.done_on < to_on - timedelta(days=task.window_before_days):
        reset = task.reset_early
    elif done.done_on <= to_on + timedelta(days=task.window_after_days):
        reset = task.reset_inside
    else:
        reset = task.reset_late
    return replace(done, done_on=done.due_on) if reset == StandingTask.Reset.ANCHORED else done
