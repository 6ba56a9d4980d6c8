"""Change a placing problem as if something were otherwise: a late charge, somebody away, a kiln kept, a late part.

What is supposed changes the problem and nothing else in it; the changed problem is as free of faults as the given one.
Charges that must wait because of it are planned later, in the hours of the yard, so that their waiting is no cost of a
plan; what it loses in drying by itself is told by ``drying_lost_cents``. What was promised stays promised.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from .frame import Frame
from .pins import faulty_pins
from .places import FAR
from .problem import Charge, Kiln, Person, Problem
from .timing import Timing

#: The phases of a charge that can take longer, in order, the usual one first.
LATER_PHASES = ("drying_min", "conditioning_min", "cooling_min", "unloading_min")


class TakenUntilError(ValueError):
    """A kiln cannot be kept: a charge that has begun is in it until a minute (``until_min``)."""

    def __init__(self, until_min: int) -> None:
        super().__init__(f"a charge is in it until {until_min}")
        self.until_min = until_min


@dataclass(frozen=True)
class ChargeSlips:
    """A charge (by its index in its kiln) ends so many minutes later than predicted."""

    kiln: str
    charge: int
    minutes: int


@dataclass(frozen=True)
class Away:
    """Somebody, under all refs they have in the problem, is away from minute to minute."""

    people: frozenset[str]
    from_min: int
    until_min: int


@dataclass(frozen=True)
class KilnKept:
    """No charge is in a kiln from minute to minute: those that would be wait until then."""

    kiln: str
    from_min: int
    until_min: int


@dataclass(frozen=True)
class PartLate:
    """The parts of these jobs are there at a minute and not before."""

    jobs: frozenset[str]
    arrives_min: int


Supposition = ChargeSlips | Away | KilnKept | PartLate


def suppose(problem: Problem, supposition: Supposition) -> Problem:
    """Return the problem as it would be.

    Parameters
    ----------
    problem : Problem
        as it is, free of faults
    supposition : Supposition
        what is supposed to be otherwise

    Returns
    -------
    Problem
        free of faults; pins that no longer hold are still in it

    Raises
    ------
    KeyError
        for a kiln that the problem does not have.
    IndexError
        for a charge that its kiln does not have, or the sentinel.
    ValueError
        for a slip below nothing or of a charge that is over, and for a time that ends before it begins or lies
        outside the horizon (``TakenUntilError`` where a charge that has begun is in the kiln all the time).
    """
    match supposition:
        case ChargeSlips():
            return _slipped(problem, supposition)
        case Away():
            return _without_people(problem, supposition)
        case KilnKept():
            return _kept(problem, supposition)
        case PartLate():
            jobs = tuple(
                replace(job, parts_min=max(job.parts_min, supposition.arrives_min))
                if job.ref in supposition.jobs
                else job
                for job in problem.jobs
            )
            return replace(problem, jobs=jobs)


def _kiln(problem: Problem, tag: str) -> Kiln:
    found = next((kiln for kiln in problem.kilns if kiln.tag == tag), None)
    if found is None:
        raise KeyError(tag)
    return found


def _with_kiln(problem: Problem, changed: Kiln) -> Problem:
    kilns = tuple(changed if kiln.tag == changed.tag else kiln for kiln in problem.kilns)
    return replace(problem, kilns=kilns)


def _slipped(problem: Problem, slip: ChargeSlips) -> Problem:
    kiln = _kiln(problem, slip.kiln)
    if not 0 <= slip.charge < len(kiln.charges) - 1:
        raise IndexError(slip.charge)
    if slip.minutes < 0:
        raise ValueError(f"a slip of {slip.minutes} minutes")
    charge = kiln.charges[slip.charge]
    if charge.start_min + charge.length_min <= 0:
        raise ValueError("the charge is over")
    phase = _phase_at(charge, 0)
    longer = replace(charge, **{phase: getattr(charge, phase) + slip.minutes})
    charges = [*kiln.charges[: slip.charge], longer, *kiln.charges[slip.charge + 1 :]]
    return _with_kiln(problem, replace(kiln, charges=_in_order(problem, kiln, charges)))


def _phase_at(charge: Charge, minute: int) -> str:
    """Name the phase that takes longer: drying, or the one after it that the charge is in."""
    until = charge.start_min + charge.loading_min + charge.heating_up_min
    for phase in LATER_PHASES:
        until += getattr(charge, phase)
        if until > minute:
            return phase
    return LATER_PHASES[0]


def _in_order(problem: Problem, kiln: Kiln, charges: Iterable[Charge]) -> tuple[Charge, ...]:
    """Let every charge begin when the one before it is out, and not sooner than planned; the yard has its hours."""
    timing = Timing(problem, kiln)
    found: list[Charge] = []
    for index, charge in enumerate(charges):
        ended = found[-1].start_min + found[-1].length_min if found else charge.start_min
        start_min = max(charge.start_min, ended)
        begins = timing.first_start(index, start_min)
        changed = replace(charge, start_min=begins if begins < FAR else start_min)
        found.append(changed if index == timing.last else _unloaded_in_hours(timing, index, changed))
    return tuple(found)


def _unloaded_in_hours(timing: Timing, index: int, charge: Charge) -> Charge:
    """Let a charge that has cooled later than was planned stand until the yard unloads it, and keep its promise."""
    planned = timing.charges[index]
    cooled = charge.start_min + charge.length_min - charge.unloading_min
    unload = timing.unload_from(index, cooled)
    wait_min = unload - cooled if unload < FAR else 0
    is_promised = planned.later_cents_per_hour or planned.promised_end_min is not None
    promised = planned.promised_min if is_promised else None
    return replace(charge, cooling_min=charge.cooling_min + wait_min, promised_end_min=promised)


def _kept(problem: Problem, kept: KilnKept) -> Problem:
    kiln = _kiln(problem, kept.kiln)
    from_min, until_min = max(kept.from_min, 0), min(kept.until_min, problem.horizon_min)
    if from_min >= until_min:
        raise ValueError(f"from {kept.from_min} to {kept.until_min} lies outside the horizon")
    *charges, sentinel = kiln.charges
    found: list[Charge] = []
    for charge in charges:
        ended = found[-1].start_min + found[-1].length_min if found else charge.start_min
        start_min = max(charge.start_min, ended)
        if charge.is_in_progress and start_min + charge.length_min > from_min:
            from_min = start_min + charge.length_min
            if from_min >= until_min:
                raise TakenUntilError(from_min)
        elif start_min < until_min and start_min + charge.length_min > from_min:
            start_min = until_min
        found.append(replace(charge, start_min=start_min))
    return _with_kiln(problem, replace(kiln, charges=_in_order(problem, kiln, [*found, sentinel])))


def _without_people(problem: Problem, away: Away) -> Problem:
    if away.from_min >= away.until_min:
        raise ValueError(f"from {away.from_min} to {away.until_min} is no time")

    def changed(person: Person) -> Person:
        if person.ref not in away.people:
            return person
        return replace(person, away=tuple(sorted({*person.away, (away.from_min, away.until_min)})))

    return replace(problem, people=tuple(changed(person) for person in problem.people))


def drying_lost_cents(before: Problem, after: Problem) -> int:
    """Return what later charges lose in drying up to the last one of each kiln, half a cent rounded up [cents]."""
    rates = {kiln.tag: (kiln.charges[-1].start_min, kiln.drying_cents_per_hour) for kiln in before.kilns}
    sixtieths = 0
    for kiln in after.kilns:
        start_min, cents_per_hour = rates[kiln.tag]
        sixtieths += (kiln.charges[-1].start_min - start_min) * cents_per_hour
    return (2 * sixtieths + 60) // 120


def let_go_of_pins(before: Problem, after: Problem) -> tuple[Problem, tuple[str, ...]]:
    """Unpin the jobs whose pin held before and does not any more; return them, too."""
    known = {fault.place for fault in faulty_pins(Frame(before))}
    found = {fault.place.removeprefix("issued.") for fault in faulty_pins(Frame(after)) if fault.place not in known}
    loose = tuple(sorted(found & after.pinned))
    return replace(after, pinned=after.pinned - set(loose)), loose
