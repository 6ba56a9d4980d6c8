"""What is known of a recurring task's past: the last work, an occurrence that was given up, when it was entered."""

from dataclasses import dataclass
from datetime import date
from typing import Final

from maintenance.recurring.calculations.meters import Limit


@dataclass(frozen=True)
class Completion:
    """The last time the work was done, and what it had been due at.

    Parameters
    ----------
    done_on : date
        local day of completion.
    hours, charges : float, optional
        meter readings at completion; unknown ones are taken from the last reading before.
    due_on : date, optional
        calendar date it was due on. Unknown, the date is inferred: the one whose window holds the completion,
        else the nearest; in a combined schedule the calendar then counts from completion.
    due_hours, due_charges : float, optional
        readings it was due at; unknown, the meter counts from completion.
    """

    done_on: date
    hours: float | None = None
    charges: float | None = None
    due_on: date | None = None
    due_hours: float | None = None
    due_charges: float | None = None

    def reading(self, limit: Limit) -> float | None:
        """Give the reading of a meter at completion."""
        return self.hours if limit is Limit.RUNNING_HOURS else self.charges

    def due_reading(self, limit: Limit) -> float | None:
        """Give the reading the work had been due at."""
        return self.due_hours if limit is Limit.RUNNING_HOURS else self.due_charges


@dataclass(frozen=True)
class PassedOver:
    """An occurrence that was given up without work: it counts as dealt with, and what follows counts on from it.

    Parameters
    ----------
    on : date
        local day it was due on.
    hours, charges : float, optional
        use since the last work, in hours and charges, at which it was due; None where the meter is not counted.
    """

    on: date
    hours: float | None = None
    charges: float | None = None

    def amount(self, limit: Limit) -> float | None:
        """Give the use of a meter up to which all is dealt with."""
        return self.hours if limit is Limit.RUNNING_HOURS else self.charges


@dataclass(frozen=True)
class Begun:
    """What is known of a task beside its last work.

    Parameters
    ----------
    entered_on : date, optional
        local day it was entered: a task that was never done is due then at the earliest, once, whatever its first
        date was, as nobody knows what was done before.
    passed_over : PassedOver, optional
        the last occurrence that was given up since the last work.
    """

    entered_on: date | None = None
    passed_over: PassedOver | None = None


NOTHING_KNOWN: Final = Begun()
