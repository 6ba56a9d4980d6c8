"""Two plans against each other: which jobs lie elsewhere, why, and what that costs or saves."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from maintenance.placing.frame import PARTS
from maintenance.placing.plan import COST_PARTS, PlacedJob
from maintenance.plans.drawing import person_id_of
from maintenance.plans.standing import Standing
from plant.frame.saying import say

#: So many jobs of a shared lock-out are named; of more, the number is said.
MOST_NAMED = 3


@dataclass(frozen=True)
class Side:
    """Where one of two plans has a job: start and end, and who does it; ``broken`` says why that no longer holds."""

    start_at: datetime
    end_at: datetime
    people: tuple[str, ...]
    broken: str = ""


@dataclass(frozen=True)
class Difference:
    """A job that lies elsewhere in two plans; a side is None where it has no place. Costs are the job's own."""

    ref: str
    kiln: str
    left: Side | None
    right: Side | None
    why: str
    more_cents: int


@dataclass(frozen=True)
class Comparison:
    """What differs between two plans: the jobs, and each part of the cost as (part, left, right, right less left)."""

    rows: tuple[Difference, ...]
    parts: tuple[tuple[str, int, int, int], ...]
    same: int
    more_cents: int

    @property
    def refs(self) -> frozenset[str]:
        """Return the jobs that differ."""
        return frozenset(row.ref for row in self.rows)


def compare(left: Standing, right: Standing) -> Comparison:
    """Compare two plans job by job and cost by cost.

    Parameters
    ----------
    left, right : Standing
        the plans; they may have been drawn at different times, so that instants are compared and not minutes

    Returns
    -------
    Comparison
        the differences, the kiln's first and then by start; a job that only one problem has counts as not placed in
        the other
    """
    rows = []
    refs = [
        *left.frame.number_of_job,
        *(ref for ref in right.frame.number_of_job if ref not in left.frame.number_of_job),
    ]
    same = 0
    for ref in refs:
        was, will = _side(left, ref), _side(right, ref)
        if was == will:
            same += was is not None
            continue
        more_cents = _own_cents(right, ref) - _own_cents(left, ref)
        rows.append(Difference(ref, _kiln(left, right, ref), was, will, _why(left, right, ref), more_cents))
    rows.sort(key=_order)
    parts = tuple(
        (
            part,
            getattr(left.cost_as_shown, part),
            getattr(right.cost_as_shown, part),
            getattr(right.cost_as_shown, part) - getattr(left.cost_as_shown, part),
        )
        for part in COST_PARTS
    )
    return Comparison(tuple(rows), parts, same, right.cost_as_shown.total - left.cost_as_shown.total)


def _order(row: Difference) -> tuple[str, datetime | None, str]:
    there = row.right or row.left
    return row.kiln, there.start_at if there else None, row.ref


def _side(standing: Standing, ref: str) -> Side | None:
    placed = standing.plan.jobs.get(ref)
    if placed is None:
        return _loose_side(standing, ref)
    job = standing.frame.jobs[standing.frame.number_of_job[ref]]
    people = tuple(sorted({standing.name_of(person) for person, _skill in placed.crew}))
    at = standing.drawn.at
    return Side(at(placed.start_min), at(placed.start_min + job.duration_min), people)


def _loose_side(standing: Standing, ref: str) -> Side | None:
    """Give the place that the board shows although it no longer holds; None where there is none."""
    place = standing.loose_at.get(ref)
    if place is None:
        return None
    people = tuple(sorted(standing.name_of(str(person)) for person in place.person_ids))
    return Side(place.start_at, place.end_at, people, say(standing.loose[ref]))


def _kiln(left: Standing, right: Standing, ref: str) -> str:
    standing = left if ref in left.frame.number_of_job else right
    return standing.frame.jobs[standing.frame.number_of_job[ref]].kiln


def _own_cents(standing: Standing, ref: str) -> int:
    """Return what a job costs by itself: delay, overtime and move, or that it is left out; 0 where it is no part."""
    job = standing.frame.number_of_job.get(ref)
    if job is None:
        return 0
    if ref in standing.loose_at:
        end_min = standing.drawn.minute(standing.loose_at[ref].end_at)
        return round(Decimal(standing.frame.delay_price(job, end_min)) / PARTS)
    at = standing.state.at.get(job)
    price = standing.frame.leave_out_price(job) if at is None else standing.state.job_price(job, at)
    return round(Decimal(price) / PARTS)


def _why(left: Standing, right: Standing, ref: str) -> str:
    """Say in a few words what is gained or given up by the difference."""
    return " ".join(_reasons(left, right, ref))


def _reasons(left: Standing, right: Standing, ref: str) -> Iterator[str]:
    was, will = left.plan.jobs.get(ref), right.plan.jobs.get(ref)
    if will is None:
        yield _no_place(right, ref)
        return
    if was is None:
        yield _no_place(left, ref) if ref in left.frame.number_of_job else _("Not part of the other plan.")
    mates, mates_were = _shares_stop(right, ref, will), _shares_stop(left, ref, was)
    if mates and set(mates) != set(mates_were):
        yield _("In one lock-out with %(jobs)s.") % {"jobs": _names(mates)}
    elif mates_were and not mates:
        yield _("No longer in one lock-out with %(jobs)s.") % {"jobs": _names(mates_were)}
    if was is not None:
        yield from _delay(left, right, ref, was, will)
    if will.stop is not None and right.plan.stops[will.stop].in_charge is not None:
        yield _("The charge is interrupted for it.")


def _no_place(standing: Standing, ref: str) -> str:
    if ref in standing.loose:
        return _("Its place does not hold: %(why)s") % {"why": say(standing.loose[ref])}
    why = say(standing.drawn.aside.get(ref))
    return _("Without a place: %(why)s") % {"why": why} if why else _("Left out: a place would cost more.")


def _shares_stop(standing: Standing, ref: str, placed: PlacedJob | None) -> list[str]:
    if placed is None or placed.stop is None:
        return []
    return sorted(one for one, at in standing.plan.jobs.items() if at.stop == placed.stop and one != ref)


def _names(refs: list[str]) -> str:
    if len(refs) <= MOST_NAMED:
        return ", ".join(refs)
    more = len(refs) - MOST_NAMED
    return ngettext("%(first)s and %(more)d more", "%(first)s and %(more)d more", more) % {
        "first": ", ".join(refs[:MOST_NAMED]),
        "more": more,
    }


def _apart(hours: float) -> str:
    if hours < 2:
        return _("%.0f min") % (hours * 60)
    return _("%.0f h") % hours if hours < 48 else _("%.0f days") % (hours / 24)


def _delay(left: Standing, right: Standing, ref: str, was: PlacedJob, will: PlacedJob) -> Iterator[str]:
    """Say how the job's time and people differ."""
    hours = (right.drawn.at(will.start_min) - left.drawn.at(was.start_min)).total_seconds() / 3600
    if hours:
        yield (_("%s later.") if hours > 0 else _("%s sooner.")) % _apart(abs(hours))
    elif {person_id_of(one) for one, _skill in was.crew} != {person_id_of(one) for one, _skill in will.crew}:
        yield _("The same time, other people.")
