"""The board of a plan: charges, lock-outs and jobs where the plan has them, whether or not they are on record."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date

from django.utils.translation import gettext as _

from maintenance.board.crew import OnDuty, days_of
from maintenance.board.drawing import draw_row, in_order
from maintenance.board.record import Board
from maintenance.board.scale import Scale, scale_of
from maintenance.board.seen import ChargeSeen, GapSeen, JobSeen, KilnSeen, StopSeen
from maintenance.models import WorkOrder
from maintenance.placing.frame import joined
from maintenance.placing.plan import Plan, Stop
from maintenance.placing.problem import Charge as ChargeToDry
from maintenance.placing.problem import Kiln as KilnToPlan
from maintenance.plans.drawing import Drawn, places
from maintenance.plans.standing import Standing
from plant.charges.calculations.charge_phases import PhaseKind
from plant.charges.lasting import expected_ends
from plant.frame.saying import say
from plant.models import Charge, Downtime, Kiln, Mill


@dataclass(frozen=True)
class LeftOut:
    """A job that has no place in a plan, and why."""

    number: str
    title: str
    kiln: str
    why: str


@dataclass
class PlanBoard(Board):
    """The board of a plan, with what the plan leaves out."""

    left_out: list[LeftOut]


def build_plan_board(standing: Standing, first_on: date, days: int, marked: Collection[str] = ()) -> PlanBoard:
    """Draw a plan for some days from a local day on; a fixed number of queries."""
    drawn, plan = standing.drawn, standing.plan
    scale = scale_of(first_on, days, Mill.objects.current().zone)
    orders = {
        order.number: order
        for order in WorkOrder.objects.select_related("kiln").filter(
            number__in=[*(job.ref for job in drawn.problem.jobs), *drawn.aside]
        )
    }
    placed = _jobs(standing, orders)
    kilns = {kiln.tag: kiln for kiln in Kiln.objects.filter(tag__in=[kiln.tag for kiln in drawn.problem.kilns])}
    downs = _downs(kilns.values(), scale)
    ends = expected_ends([one for rows in downs.values() for one in rows], drawn.base_at)
    until = {pk: one.end_at for pk, one in ends.items()}
    ids = [charge_id for tag in drawn.charge_ids for charge_id in drawn.charge_ids[tag] if charge_id is not None]
    numbers = dict(Charge.objects.filter(pk__in=ids).values_list("pk", "number"))
    rows = []
    for of in drawn.problem.kilns:
        if of.tag in kilns:
            of_kiln = downs.get(kilns[of.tag].pk, ())
            seen = KilnSeen(kilns[of.tag], downs=of_kiln, down_until=until, jobs=placed.get(of.tag, []))
            _add_charges(seen, of, drawn, plan, numbers)
            seen.stops = [_stop(standing, of, one) for one in plan.stops if one.kiln == of.tag]
            rows.append(draw_row(seen, scale, marked))
    rows.sort(key=in_order)
    jobs = [job for here in placed.values() for job in here]
    return PlanBoard(scale, rows, days_of(scale, jobs, _crew(drawn)), jobs, list(_left_out(standing, orders)))


def _jobs(standing: Standing, orders: Mapping[str, WorkOrder]) -> dict[str, list[JobSeen]]:
    drawn = standing.drawn
    found: dict[str, list[JobSeen]] = defaultdict(list)
    of = {job.ref: job for job in drawn.problem.jobs}
    for ref, place in places(drawn, standing.plan).items():
        job, order = of[ref], orders.get(ref)
        found[job.kiln].append(
            JobSeen(
                number=ref,
                title=order.title if order else "",
                kiln=job.kiln,
                start_at=place.start_at,
                end_at=place.end_at,
                people=tuple(standing.name_of(str(person)) for person in place.person_ids),
                needs_state=job.needs_state,
                after_charge_id=place.after_charge_id,
                during_charge_id=place.during_charge_id,
                is_safety=job.safety,
                is_pinned=ref in drawn.problem.pinned,
            )
        )
    return found


def _downs(kilns: Iterable[Kiln], scale: Scale) -> dict[int, list[Downtime]]:
    found: dict[int, list[Downtime]] = defaultdict(list)
    records = Downtime.objects.filter(kiln__in=kilns).reaching_into(scale.from_at, scale.to_at)
    for down in records.order_by("start_at").select_related("component"):
        found[down.kiln_id].append(down)
    return found


def _add_charges(seen: KilnSeen, of: KilnToPlan, drawn: Drawn, plan: Plan, numbers: Mapping[int, str]) -> None:
    """Lay the charges of a kiln where the plan has them, the openings between, the interruptions within."""
    broken_off = {one.in_charge: one for one in plan.stops if one.kiln == of.tag and one.in_charge is not None}
    charges: list[ChargeSeen] = []
    gaps: list[GapSeen] = []
    ids = drawn.charge_ids[of.tag]
    before, free_min = drawn.last_charge_ids[of.tag], 0
    for index, (charge, start_min) in enumerate(zip(of.charges, plan.charge_starts[of.tag], strict=True)):
        is_last = index == len(of.charges) - 1
        if start_min > free_min and not charge.goes_on:
            end_at = None if is_last and ids[index] is None else drawn.at(start_min)
            gaps.append(GapSeen(drawn.at(max(free_min, 0)), end_at, before, ""))
        if is_last:
            break
        phases = list(_phases(charge, start_min, broken_off.get(index), of.reheat_min))
        seen_charge = ChargeSeen(
            number=numbers.get(ids[index] or 0, "?"),
            phases=tuple((kind, drawn.at(start), drawn.at(end)) for kind, start, end in phases),
            held_min=start_min - charge.start_min,
        )
        if charge.goes_on and charges:
            part = charges.pop()
            held_min = max(part.held_min, seen_charge.held_min)
            seen_charge = replace(seen_charge, phases=(*part.phases, *seen_charge.phases), held_min=held_min)
        charges.append(seen_charge)
        before, free_min = ids[index], phases[-1][2]
    seen.charges, seen.gaps = charges, gaps


def _phases(
    charge: ChargeToDry, start_min: int, broken: Stop | None, reheat_min: int
) -> Iterator[tuple[str, int, int]]:
    """Give the phases of a charge in minutes; an interruption parts its drying and is followed by heating up anew."""
    at = start_min
    lengths = (
        charge.loading_min,
        charge.heating_up_min,
        charge.drying_min,
        charge.conditioning_min,
        charge.cooling_min,
        charge.unloading_min,
    )
    for kind, length in zip(PhaseKind, lengths, strict=True):
        if broken is not None and kind == PhaseKind.DRYING:
            dried = broken.set_up_start_min - at
            yield str(kind), at, broken.set_up_start_min
            at = broken.end_min + reheat_min
            yield str(PhaseKind.HEATING_UP), broken.end_min, at
            length -= dried
        yield str(kind), at, at + length
        at += length


def _stop(standing: Standing, of: KilnToPlan, stop: Stop) -> StopSeen:
    at = standing.drawn.at
    return StopSeen(
        at(stop.set_up_start_min),
        at(stop.set_up_start_min + of.set_up_min),
        at(stop.end_min - of.restore_min),
        at(stop.end_min),
        standing.name_of(stop.person),
    )


def _crew(drawn: Drawn) -> Iterator[OnDuty]:
    """Give the hours of everybody in the problem; whoever counts as two is away where the other one is there.

    Shifts that overlap are there in the problem as what their people have in common: an hour counts once.
    """
    duty: dict[str, list[tuple[int, int]]] = defaultdict(list)
    for shift in drawn.problem.shifts:
        for ref in shift.people:
            duty[ref].append((shift.start_min, shift.end_min))
    for person in drawn.problem.people:
        spans = (joined(duty[person.ref]), person.away)
        yield OnDuty(*([(drawn.at(start), drawn.at(end)) for start, end in one] for one in spans))


def _left_out(standing: Standing, orders: Mapping[str, WorkOrder]) -> Iterator[LeftOut]:
    drawn = standing.drawn
    kilns = {job.ref: job.kiln for job in drawn.problem.jobs}
    for ref, why in drawn.aside.items():
        order = orders.get(ref)
        yield LeftOut(ref, order.title if order else "", order.kiln.tag if order else "", say(why))
    for ref, kiln in kilns.items():
        if ref not in standing.plan.jobs:
            order = orders.get(ref)
            loose = say(standing.loose.get(ref)) or _("Left out: every place for it costs more than waiting.")
            yield LeftOut(ref, order.title if order else "", kiln, loose)
