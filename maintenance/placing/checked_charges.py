"""How the charges of a kiln go, as the checker works it out from the two files; no solver asks it.

With stops in charges, with stops that last longer than the kiln is down, and with the hours of the yard.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from .plan import Stop
from .problem import Charge, Down, Kiln, Problem


@dataclass(frozen=True)
class Course:
    """One charge: in the kiln from loading to `end_min`; `unload_min` is None where the yard has no hours for it."""

    cooled_min: int
    unload_min: int | None
    end_min: int
    runs_until_min: int
    #: No running work in these, half open: interruptions with their reheating.
    cut: tuple[tuple[int, int], ...]
    #: Whether the stop in it lies where it only waits for the yard: the timber is dry, nothing is interrupted.
    stop_waits: bool
    is_interrupted: bool


@dataclass
class Courses:
    """The charges of a kiln but for the sentinel, and stops beyond a down time that cannot be."""

    of: list[Course] = field(default_factory=list)
    #: They stretch a charge that has another stop.
    second: list[Stop] = field(default_factory=list)
    #: Nothing is inside that they could stretch, and the next charge has started.
    too_long: list[Stop] = field(default_factory=list)


def first_minute_in_yard(problem: Problem, length_min: int, minute: int) -> int | None:
    """Give the first minute from one on at which so much lies wholly within one span of the yard."""
    if problem.yard is None:
        return minute
    first = max(0, bisect_right(problem.yard, (minute, minute)) - 1)
    for start_min, end_min in problem.yard[first:]:
        begins = max(minute, start_min)
        if begins + length_min <= end_min:
            return begins
    return None


def latest_start_min(problem: Problem, charge: Charge) -> int:
    """Give the last minute at which a charge may start; one in progress has only the one."""
    if charge.start_min <= 0:
        return charge.start_min
    return charge.start_min + (problem.max_delay_min if charge.may_wait_min is None else charge.may_wait_min)


def from_start_to_cooled_min(charge: Charge) -> int:
    """How long a charge is inside, uninterrupted, until its timber may be taken out."""
    return charge.loading_min + charge.heating_up_min + charge.drying_min + charge.conditioning_min + charge.cooling_min


def planned_end_min(charge: Charge) -> int:
    """When a charge is out by the programme."""
    return charge.start_min + from_start_to_cooled_min(charge) + charge.unloading_min


def later_than_promised_min(charge: Charge, end_min: int) -> int:
    """How long after its promise a charge is out."""
    promised = planned_end_min(charge) if charge.promised_end_min is None else charge.promised_end_min
    return max(0, end_min - promised)


def follow(
    problem: Problem,
    kiln: Kiln,
    starts: Sequence[int],
    in_charge: Mapping[int, Stop],
    beyond: Iterable[tuple[Down, Stop]],
) -> Courses:
    """Follow the charges of a kiln from start to end.

    Parameters
    ----------
    problem, kiln : Problem, Kiln
        the yard, the programme
    starts : sequence of int
        when each charge starts, the sentinel's included [min]
    in_charge : mapping of int to Stop
        the stop in each charge that has one
    beyond : iterable of (Down, Stop)
        the stops that begin while the kiln is down and last longer

    Returns
    -------
    Courses
        what becomes of each charge
    """
    found = Courses()
    left = sorted(beyond, key=lambda one: one[0].end_min)
    for index, charge in enumerate(kiln.charges[:-1]):
        start, goes_on = starts[index], kiln.charges[index + 1].goes_on
        planned = charge.start_min + from_start_to_cooled_min(charge)
        cooled = start + from_start_to_cooled_min(charge)

        def unloaded_from(
            minute: int, charge: Charge = charge, planned: int = planned, goes_on: bool = goes_on
        ) -> int | None:
            if goes_on or minute == planned:
                return minute
            return first_minute_in_yard(problem, charge.unloading_min, minute)

        cut: list[tuple[int, int]] = []
        stop = in_charge.get(index)
        stop_waits = False
        if stop is not None:
            unload = unloaded_from(cooled)
            stop_waits = cooled <= stop.set_up_start_min and (unload is None or stop.set_up_start_min < unload)
            if not stop_waits:
                cooled += stop.end_min - stop.set_up_start_min + kiln.reheat_min
                cut.append((stop.set_up_start_min, stop.end_min + kiln.reheat_min))
        is_taken = stop is not None
        # The first charge that is out after the kiln was down is the one inside, or the next one.
        while left and left[0][0].end_min < _or(unloaded_from(cooled), cooled) + charge.unloading_min:
            down, longer = left.pop(0)
            if not down.unloaded and start <= down.end_min:
                if is_taken:
                    found.second.append(longer)
                is_taken = True
                cooled += longer.end_min - down.end_min + kiln.reheat_min
                cut.append((down.end_min, longer.end_min + kiln.reheat_min))
            elif longer.end_min > start:
                found.too_long.append(longer)
        unload = unloaded_from(cooled)
        end = _or(unload, cooled) + charge.unloading_min
        until = cooled - charge.cooling_min
        found.of.append(Course(cooled, unload, end, until, tuple(cut), stop_waits, bool(cut)))
    found.too_long += [longer for _, longer in left if longer.end_min > starts[-1]]
    return found


def _or(minute: int | None, otherwise: int) -> int:
    return otherwise if minute is None else minute
