"""Raise work orders: number, steps, skills and parts from the task sheet, and the parts set aside at once."""

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from decimal import Decimal

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from inventory.advice import refresh_advice
from inventory.models import Part, Reservation
from maintenance.models import (
    Defect,
    FunctionCheck,
    StandingTask,
    TaskSheet,
    TaskStep,
    WorkOrder,
    WorkPart,
    WorkSkill,
    WorkStep,
)
from maintenance.models.versions import content_as_raised
from maintenance.orders.supply import missing_parts, say_short, usable_on_hand
from plant import clock
from plant.access import require
from plant.basics.sentences import Sentence, Sentences
from plant.models import Change, Component, Kiln, Mill, NumberSeries, User

SERIES = "work order"
ZERO = Decimal(0)


@transaction.atomic
def raise_work_order(
    *,
    kiln: Kiln,
    title: str,
    origin: str,
    due_at: datetime,
    by: User | None = None,
    component: Component | None = None,
    sheet: TaskSheet | None = None,
    standing_task: StandingTask | None = None,
    occurrence_on: date | None = None,
    defect: Defect | None = None,
    check_up: FunctionCheck | None = None,
    needs_state: str | None = None,
    hours: Decimal | None = None,
    crew: int | None = None,
    is_safety: bool = False,
    safety_at: datetime | None = None,
    cost_of_delay_per_day: Decimal = ZERO,
    cost_unknown_why: Sentences = (),
    why: Sentences = (),
    earliest_at: datetime | None = None,
    covers: Sequence[Component] = (),
) -> WorkOrder:
    """Raise a work order; what is not given comes from its task sheet.

    ``covers`` names several components of one job: each has the sheet's steps, hours and parts.

    ``by`` is None where the program itself raises it. Steps and skills are copied, so that a later change of the sheet
    does not change work that is under way. Raises ValueError where neither a sheet nor the caller says how long the
    job takes and in which state of the kiln, PermissionDenied for a user who may not raise work, ValidationError for
    somebody who asks for work by a sheet that is withdrawn.
    """
    require(by, "raise work")
    sheet = _present(sheet)
    needs_state = needs_state or (sheet.needs_state if sheet else None)
    hours = hours or (sheet.hours if sheet else None)
    if not needs_state or not hours:
        raise ValueError("a work order without a task sheet needs its hours and the state of the kiln")
    if sheet and sheet.is_withdrawn and by is not None:
        raise ValidationError(
            _("The task sheet %(sheet)s is withdrawn (%(why)s): no new work comes from it. Choose another.")
            % {"sheet": sheet, "why": sheet.withdrawn_why}
        )
    lacking = _kinds_nobody_keeps(sheet)
    order = WorkOrder.objects.create(
        number=f"WO-{NumberSeries.take(SERIES):04d}",
        title=title,
        kiln=kiln,
        component=component,
        origin=origin,
        standing_task=standing_task,
        occurrence_on=occurrence_on,
        defect=defect,
        check_up=check_up,
        sheet=sheet,
        sheet_version=sheet.version if sheet else None,
        needs_state=needs_state,
        hours=hours * max(1, len(covers)),
        crew=crew or (sheet.crew if sheet else 1),
        earliest_at=earliest_at,
        due_at=due_at,
        safety_at=safety_at,
        is_safety=is_safety or (sheet is not None and sheet.is_safety),
        cost_of_delay_per_day=cost_of_delay_per_day,
        cost_unknown_why=cost_unknown_why,
        why=(*why, *lacking),
        raised_at=clock.now(),
    )
    if sheet:
        parts = equip(order, sheet, covers)
        # The program itself raises many at once and looks at all parts when it has done so.
        if by is not None and parts:
            refresh_advice(clock.today(Mill.objects.current().zone), parts)
    Change.record(order, "raised", by=by, after={"state": order.state, "due_at": due_at.isoformat()}, said=order.why)
    return order


def equip(order: WorkOrder, sheet: TaskSheet, covers: Sequence[Component]) -> list[Part]:
    """Give a new work order what its sheet asks for: steps, skills and parts, which are set aside and returned."""
    order.covers.set(covers)
    copy_sheet(order, sheet, covers)
    return _set_parts_aside(order, sheet, max(1, len(covers)))


def _present(sheet: TaskSheet | None) -> TaskSheet | None:
    """Return the sheet as it is now, locked: version and steps are of one piece whoever changes it meanwhile."""
    if sheet is None:
        return None
    version = TaskSheet.objects.select_for_update().values_list("version", flat=True).get(pk=sheet.pk)
    return sheet if version == sheet.version else TaskSheet.objects.get(pk=sheet.pk)


def copy_sheet(order: WorkOrder, sheet: TaskSheet, covers: Sequence[Component]) -> None:
    """Copy a sheet's steps and skills, the steps for each component where there are several."""
    _copy_steps(order, sheet, covers)
    WorkSkill.objects.bulk_create(
        WorkSkill(work_order=order, skill_id=needed.skill_id, persons=needed.persons) for needed in sheet.skills.all()
    )


def _copy_steps(order: WorkOrder, sheet: TaskSheet, covers: Sequence[Component], after: int = 0) -> None:
    """Copy the steps, for each component anew where there are several; numbers go on behind ``after``."""
    copied = ("reading_name", "reading_unit", "low", "high", "is_required")
    steps = [(one, step) for one in (covers or (None,)) for step in steps_of(order, sheet)]
    WorkStep.objects.bulk_create(
        WorkStep(
            work_order=order,
            no=number if covers else step.no,
            text=f"{one.name}: {step.text}" if one else step.text,
            **{name: getattr(step, name) for name in copied},
        )
        for number, (one, step) in enumerate(steps, start=after + 1)
    )


def steps_of(order: WorkOrder, sheet: TaskSheet) -> list[TaskStep]:
    """Return the steps of a job's sheet as it was when the job was raised."""
    earlier = content_as_raised(order)
    if earlier is None:
        return list(sheet.steps.all())
    limits = ("low", "high")
    return [
        TaskStep(**step | {name: Decimal(step[name]) if step[name] else None for name in limits})
        for step in earlier["steps"]
    ]


def extend_to(order: WorkOrder, more: Sequence[Component]) -> None:
    """Let a job that nobody has begun cover further components as well: their steps, hours and parts.

    The order must be locked, and its sheet be known; whoever calls it stores the order and writes the history.
    """
    sheet = order.sheet
    if sheet is None:
        raise ValueError("a work order without a task sheet cannot cover further components")
    covered = list(order.covers.all())
    if not covered and order.component is not None:
        for step in order.steps.all():
            step.text = f"{order.component.name}: {step.text}"
            step.save(update_fields=["text"])
        covered = [order.component]
    last = order.steps.order_by("-no").first()
    _copy_steps(order, sheet, more, after=last.no if last else 0)
    order.hours = order.hours / len(covered) * (len(covered) + len(more)) if covered else order.hours
    for line in order.parts.select_related("reservation"):
        each = line.quantity / max(1, len(covered))
        line.quantity += each * len(more)
        line.save(update_fields=["quantity"])
        if line.reservation:
            line.reservation.quantity += each * len(more)
            line.reservation.save(update_fields=["quantity"])
    order.component = None
    order.covers.set([*covered, *more])


def _set_parts_aside(order: WorkOrder, sheet: TaskSheet, times: int) -> list[Part]:
    """Reserve the mill's own parts for what the sheet asks for; a kind the mill does not keep is named in `why`."""
    needed_on = due_date(order)
    parts = []
    for wanted in sheet.parts.all():
        part = choose_part(wanted.part_kind_id, sheet.kind_id)
        if part is None:
            continue
        reservation = Reservation.objects.create(
            part=part,
            quantity=wanted.quantity * times,
            needed_on=needed_on,
            source=order.number,
            purpose=f"{order.kiln.tag}: {order.title}"[:160],
            # What a defect asks for was not foreseen: its use is the random use that stock must cover.
            is_planned=order.origin == WorkOrder.Origin.STANDING_TASK,
            created_at=clock.now(),
        )
        WorkPart.objects.create(work_order=order, part=part, quantity=wanted.quantity * times, reservation=reservation)
        parts.append(part)
    return parts


def due_date(order: WorkOrder) -> date:
    """Return the mill's calendar day on which a work order is due."""
    return order.due_at.astimezone(Mill.objects.current().zone).date()


def choose_part(part_kind_id: int, component_kind_id: int | None) -> Part | None:
    """Choose the mill's part for a kind: one that fits the component first, then the one with most on hand."""
    parts = list(Part.objects.in_use().filter(kind_id=part_kind_id).prefetch_related("fits"))
    if len(parts) < 2:
        return parts[0] if parts else None
    on_hand = usable_on_hand([part.pk for part in parts])

    def preference(part: Part) -> tuple[bool, Decimal, str]:
        fits = any(kind.pk == component_kind_id for kind in part.fits.all())
        return not fits, -on_hand[part.pk], part.code

    return min(parts, key=preference)


def _kinds_nobody_keeps(sheet: TaskSheet | None) -> Sentences:
    """Name what the sheet asks for and no part of the mill answers to."""
    if sheet is None:
        return ()
    names = [
        needed.part_kind.name
        for needed in sheet.parts.select_related("part_kind").exclude(part_kind__parts__is_active=True)
    ]
    return (Sentence.of("raised.not_kept", parts=names),) if names else ()


@transaction.atomic
def update_readiness(work_orders: Iterable[WorkOrder]) -> int:
    """Move work orders between raised and ready by whether their parts are on hand; return how many moved.

    Permits are asked for when a job is started, not here. Work that is placed or further on keeps its state.
    """
    ids = [order.pk for order in work_orders]
    waiting = WorkOrder.objects.select_for_update().filter(
        pk__in=ids, state__in=[WorkOrder.State.RAISED, WorkOrder.State.READY]
    )
    orders = list(waiting)
    short = missing_parts(orders)
    moved = 0
    for order in orders:
        state = WorkOrder.State.RAISED if order.pk in short else WorkOrder.State.READY
        if order.state != state:
            before, order.state = order.state, state
            order.save(update_fields=["state"])
            said = say_short(short.get(order.pk, []))
            after = {"state": str(order.state)}
            Change.record(order, "state", by=None, before={"state": before}, after=after, said=said)
            moved += 1
    return moved
