"""The coming dates of a recurring task as its page lists them: those that stand, were moved, or are skipped."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from maintenance.models import ChangedDate, StandingTask
from maintenance.recurring.changed_dates import moved_on, series_on, standing_changes, without_skipped
from maintenance.recurring.rolling_on import dates_of, due_of, histories_for
from plant.basics.sentences import Sentences

SHOWN = 6


@dataclass(frozen=True)
class Coming:
    """A coming date.

    Parameters
    ----------
    on : date
        local day on which the work is due, or would have been.
    due_on : date
        the date of the series.
    change : ChangedDate, optional
        that it was moved or is skipped.
    """

    on: date
    due_on: date
    change: ChangedDate | None = None


def coming_dates(task: StandingTask, day: date) -> tuple[Sequence[Coming], Sentences]:
    """Return the next six dates, the skipped ones among them beside, and why the first is due then.

    Raises ValueError for a rule that cannot be followed.
    """
    histories = histories_for([task], day)
    due = due_of(task, day, histories)
    changes = standing_changes(task)
    kept: list[date] = []
    if due.due_on is not None:
        first_on = series_on(task, due.due_on)
        after = max(first_on, day - timedelta(days=1))
        further = [on for on in dates_of(task, after, SHOWN + len(changes), histories) if on > first_on]
        kept = [first_on, *without_skipped(task, further)][:SHOWN]
    found = [Coming(moved_on(task, on), on, changes.get(on)) for on in kept]
    # Until work is done it can be taken back that a date was skipped, also of one that is over.
    done_on, until_on = task.last_done_on or date.min, kept[-1] if kept else date.max
    skipped = [one for one in changes.values() if one.is_skipped and done_on < one.due_on <= until_on]
    found += [Coming(one.due_on, one.due_on, one) for one in skipped]
    return sorted(found, key=lambda one: (one.on, one.due_on)), due.reason
