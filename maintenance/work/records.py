"""What is entered while a job is under way: steps with readings, time, parts, and the stop it caused or ended."""

from collections.abc import Collection
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Sum
from django.utils.translation import gettext as _

from inventory.actions import issue, lacking, reserve
from inventory.models import Part, Reservation, StockMove
from maintenance.checks.defects import record_defect
from maintenance.models import CheckPoint, Labour, StepRecord, WorkOrder, WorkPart, WorkStep
from maintenance.orders.moving import lock, lock_with_kiln
from maintenance.work.course import is_outside_limits, latest_records
from plant import clock
from plant.access import require
from plant.frame.figures import quantity
from plant.frame.units import reading_in, reading_scale
from plant.models import Change, Downtime, Mill, Person, User
from plant.warnings.running_bars import refuse_running

State = WorkOrder.State
# Time may still be entered when the work is done, until it is signed off.
OPEN_FOR_TIME = (State.UNDER_WAY, State.DONE)
LONGEST_ENTRY_MIN = 24 * 60


def _require_state(order: WorkOrder, *states: str) -> None:
    if order.state not in states:
        raise ValidationError(
            _("%(number)s is %(state)s: start it first.") % {"number": order.number, "state": order.get_state_display()}
            if order.state in WorkOrder.BEFORE_START
            else _("%(number)s is %(state)s: nothing more can be entered.")
            % {"number": order.number, "state": order.get_state_display()},
            code="state",
        )


def say_limits(step: WorkStep, mill: Mill) -> str:
    """Say the limits of a step's reading in words, in the mill's unit."""
    scale = reading_scale(step.reading_unit, mill)
    low, high = (None if value is None else quantity(scale.shown(value)) for value in (step.low, step.high))
    if low is not None and high is not None:
        words = _("%(low)s to %(high)s %(unit)s") if low != high else _("exactly %(low)s %(unit)s")
    elif low is not None:
        words = _("at least %(low)s %(unit)s")
    elif high is not None:
        words = _("at most %(high)s %(unit)s")
    else:
        return ""
    return (words % {"low": low, "high": high, "unit": scale.unit}).strip()


@transaction.atomic
def record_step(
    step: WorkStep,
    *,
    by: User,
    key: UUID,
    is_done: bool = True,
    reading: Decimal | None = None,
    note: str = "",
    makes_defect: bool = False,
) -> StepRecord:
    """Enter a step; a later entry corrects an earlier one.

    A reading outside its limits is kept, but must be answered by a note or a defect.
    """
    require(by, "do work")
    order = lock(step.work_order)
    step = WorkStep.objects.get(pk=step.pk)
    known = StepRecord.objects.filter(key=key).first()
    if known:
        return known
    _require_state(order, State.UNDER_WAY)
    note = note.strip()
    if is_done and step.reading_name and reading is None:
        raise ValidationError(
            _("Step %(no)d asks for a reading: %(name)s.") % {"no": step.no, "name": step.reading_name}
        )
    outside = is_done and reading is not None and is_outside_limits(step, reading)
    if outside and not (note or makes_defect):
        raise ValidationError(
            _("Outside the limits (%(limits)s). Write what you did about it, or make it a defect.")
            % {"limits": say_limits(step, order.kiln.mill)},
            code="outside",
        )
    if not is_done and step.is_required and not note:
        raise ValidationError(_("Say why step %(no)d was not done.") % {"no": step.no})
    earlier = latest_records(order).get(step.pk)
    record = StepRecord.objects.create(
        key=key,
        step=step,
        is_done=is_done,
        reading=reading if is_done else None,
        note=note[:200],
        at=clock.now(),
        by=by,
    )
    Change.record(
        order,
        "step",
        by=by,
        before=_told(earlier) if earlier else None,
        after=_told(record),
        note=note,
    )
    if outside and makes_defect:
        _reading_to_defect(order, step, record, by)
    return record


def _told(record: StepRecord) -> dict[str, object]:
    return {
        "step": record.step.no,
        "done": record.is_done,
        "reading": None if record.reading is None else f"{record.reading.normalize():f}",
    }


def _reading_to_defect(order: WorkOrder, step: WorkStep, record: StepRecord, by: User) -> None:
    mill = order.kiln.mill
    what = _("%(name)s %(reading)s, should be %(limits)s") % {
        "name": step.reading_name,
        "reading": reading_in(record.reading, step.reading_unit, mill),
        "limits": say_limits(step, mill),
    }
    # What keeps a way out shut closes the chamber at once, whoever finds it.
    kind_id = order.component.kind_id if order.component else None
    blocks = CheckPoint.objects.filter(kind=kind_id, blocks_entry=True).exists()
    defect = record_defect(
        kiln=order.kiln,
        component=order.component,
        what=what,
        by=by,
        consequence=record.note,
        is_safety=order.is_safety,
        blocks_entry=blocks,
    )
    Change.record(order, "made a defect", by=by, after={"what": defect.what})


@transaction.atomic
def record_labour(work_order: WorkOrder, person: Person, minutes: int, *, by: User, key: UUID) -> Labour:
    """Enter time; a negative entry takes back what was entered too much."""
    require(by, "do work")
    order = lock(work_order)
    known = Labour.objects.filter(key=key).first()
    if known:
        return known
    _require_state(order, *OPEN_FOR_TIME)
    if not minutes or abs(minutes) > LONGEST_ENTRY_MIN:
        raise ValidationError(_("Enter the time in minutes, at most a day at once."))
    so_far = order.labour.filter(person=person).aggregate(sum=Sum("minutes"))["sum"] or 0
    if so_far + minutes < 0:
        raise ValidationError(
            _("%(person)s has %(minutes)d minutes on record: no more can be taken back.")
            % {"person": person, "minutes": so_far}
        )
    entry = Labour.objects.create(key=key, work_order=order, person=person, minutes=minutes, at=clock.now(), by=by)
    Change.record(order, "time", by=by, before={"minutes": so_far}, after={"person": person.name, "minutes": minutes})
    return entry


@transaction.atomic
def use_part(
    work_order: WorkOrder,
    part: Part,
    quantity: Decimal,
    *,
    by: User,
    key: UUID,
    take_from: Collection[str] = (),
    why: str = "",
) -> list[StockMove]:
    """Take a part off the shelf for a job, from what was set aside for it where there is something.

    What is set aside for other work is taken only where ``take_from`` names it and ``why`` says why. Raises
    ValidationError, TakesFromOthers.
    """
    require(by, "take parts")
    order = lock(work_order)
    if StockMove.objects.filter(key=key).exists():
        # Sent a second time: the stores answers with what it booked, whatever became of the job meanwhile.
        return issue(part, quantity, by=by, key=key, reservation=_set_aside(order, part), reason=order.number)
    _require_state(order, State.UNDER_WAY)
    lacked = lacking(part)
    # The number of the job counts as a reason for its own parts only.
    reason = f"{order.number} {why.strip()}".strip() if why.strip() or not take_from else ""
    moves = issue(
        part,
        quantity,
        by=by,
        key=key,
        reservation=_claim(order, part, quantity, by),
        reason=reason,
        take_from=take_from,
        lacked=lacked,
    )
    Change.record(order, "part taken", by=by, after={"part": part.code, "quantity": f"{quantity.normalize():f}"})
    return moves


def _set_aside(order: WorkOrder, part: Part) -> Reservation | None:
    return Reservation.objects.filter(source=order.number, part=part).first()


def _claim(order: WorkOrder, part: Part, quantity: Decimal, by: User) -> Reservation:
    """Return what is set aside for the job, raised where it takes more than was foreseen."""
    known = _set_aside(order, part)
    used = known.used if known else Decimal(0)
    if known and known.closed_at is None and known.quantity - used >= quantity:
        return known
    today = clock.today(order.kiln.mill.zone)
    is_planned = known.is_planned if known else False
    reservation = reserve(part, used + quantity, today, order.number, order.title, is_planned=is_planned, by=by)
    line, is_new = WorkPart.objects.get_or_create(
        work_order=order, part=part, defaults={"quantity": quantity, "reservation": reservation}
    )
    if not is_new and line.reservation_id is None:
        line.reservation = reservation
        line.save(update_fields=["reservation"])
    return reservation


@transaction.atomic
def cause_downtime(
    work_order: WorkOrder,
    *,
    by: User,
    kind: str,
    start_at: datetime,
    end_at: datetime | None = None,
    share_lost: Decimal = Decimal(1),
) -> Downtime:
    """Put on record that the kiln stood (or ran slower) for this job."""
    require(by, "report downtime")
    order = lock(work_order)
    _require_state(order, *OPEN_FOR_TIME)
    if order.caused_downtime_id:
        raise ValidationError(_("The stop for this job is on record already."))
    if end_at is not None and end_at <= start_at:
        raise ValidationError(_("The stop must end after it starts."))
    known = Downtime.objects.filter(kiln=order.kiln, start_at=start_at, kind=kind).first()
    downtime = known or Downtime.objects.create(
        kiln=order.kiln,
        component=order.component,
        kind=kind,
        start_at=start_at,
        end_at=end_at,
        share_lost=share_lost,
        cause=f"{order.number} {order.title}"[:200],
    )
    order.caused_downtime = downtime
    _save_link(order, by, "stop it caused", downtime)
    return downtime


@transaction.atomic
def cure_downtime(work_order: WorkOrder, downtime: Downtime, *, by: User, end_at: datetime | None = None) -> Downtime:
    """Put on record that this job ended a stop; one that is still open ends at the given instant."""
    require(by, "report downtime")
    order = lock_with_kiln(work_order)
    _require_state(order, *OPEN_FOR_TIME)
    downtime = Downtime.objects.select_for_update().get(pk=downtime.pk)
    if downtime.kiln_id != order.kiln_id:
        raise ValidationError(_("That stop is of another kiln."))
    if downtime.end_at is None:
        refuse_running(order.kiln)
        end_at = end_at or clock.now()
        if end_at <= downtime.start_at or end_at > clock.now():
            raise ValidationError(_("The stop must end after it starts, and not in the future."))
        downtime.end_at = end_at
        downtime.save(update_fields=["end_at"])
        Change.record(
            downtime, "ended", by=by, before={"end_at": None}, after={"end_at": end_at.isoformat()}, note=order.number
        )
    order.cured_downtime = downtime
    _save_link(order, by, "stop it ended", downtime)
    return downtime


def _save_link(order: WorkOrder, by: User, act: str, downtime: Downtime) -> None:
    order.version += 1
    order.save(update_fields=["caused_downtime", "cured_downtime", "version"])
    end_at = downtime.end_at.isoformat() if downtime.end_at else None
    Change.record(order, act, by=by, after={"start_at": downtime.start_at.isoformat(), "end_at": end_at})
