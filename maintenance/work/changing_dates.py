"""Skip or move one date of a recurring task, with the job that is raised for it, and take that back."""

from datetime import date, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from maintenance.models import ChangedDate, StandingTask, WorkOrder
from maintenance.orders.origins import origins_of
from maintenance.recurring.calculations.passing_over import pass_over
from maintenance.recurring.changed_dates import moved_on
from maintenance.recurring.coming import Coming, coming_dates
from maintenance.recurring.editing import locked_task
from maintenance.recurring.occurrences import end_of_day
from maintenance.recurring.rolling_on import (
    as_quantity,
    counts_meters,
    due_of,
    histories_for,
    refresh_due,
    schedule_of,
    window_of,
)
from maintenance.work.course import withdraw
from maintenance.work.particulars import Particulars, change_particulars
from plant import clock
from plant.access import require
from plant.basics.sentences import Sentence
from plant.models import Change, Mill, User

RIGHT = "edit recurring tasks"


def is_safety(task: StandingTask) -> bool:
    """Say whether its dates may be moved up to their last day, and never be skipped."""
    return task.is_safety or task.sheet.is_safety or task.sheet.is_proof_test


def last_day(task: StandingTask, due_on: date) -> date:
    """Return the last day on which the work of a date of the series may be done."""
    return due_on + timedelta(days=task.window_after_days)


@transaction.atomic
def skip_date(task: StandingTask, due_on: date, why: str, *, version: int, by: User | None) -> ChangedDate:
    """Let one date pass without work; the job that is raised for it is withdrawn, and the next date counts on.

    Raises ValidationError without a reason, for safety work, for what is no coming date, where its job has begun or
    others ask for it as well, and for a stale version.
    """
    task, coming = _opened(task, due_on, why, version, by)
    if is_safety(task):
        words = _("It is safety work and cannot be skipped: move it, to %(last)s at the latest.")
        raise ValidationError(words % {"last": _day(last_day(task, due_on))}, code="safety")
    today = clock.today(Mill.objects.current().zone)
    hours = charges = None
    if counts_meters(task):
        histories = histories_for([task], today)
        due = due_of(task, today, histories)
        if due.due_on != coming.on:
            raise ValidationError(
                _("Of a task that counts running hours or charges only the next date can be skipped.")
            )
        passed = pass_over(schedule_of(task), due, coming.on, today)
        hours, charges = as_quantity(passed.hours), as_quantity(passed.charges)
    order = _job_of(task, due_on)
    if order is not None:
        withdraw(order, by=by, version=order.version, why=why.strip(), counts_on=False)
    if coming.change:
        _end(coming.change, by)
    change = ChangedDate.objects.create(
        standing_task=task,
        due_on=due_on,
        why=why.strip(),
        at=clock.now(),
        by=by,
        work_order=order,
        passed_running_h=hours,
        passed_charges=charges,
        after_done_on=task.last_done_on,
    )
    said = Sentence.of("task.date_skipped", due_on=coming.on)
    _counted_anew(task, "date skipped", said, why, by)
    return change


@transaction.atomic
def move_date(task: StandingTask, due_on: date, to_on: date, why: str, *, version: int, by: User | None) -> ChangedDate:
    """Let the work of one date be due on another day; the job that is raised for it goes along.

    Raises ValidationError as for skipping, and for a day that is over, lies past the dates around it, or past the last
    day of safety work; keyed by ``to_on`` where the day is at fault.
    """
    task, coming = _opened(task, due_on, why, version, by)
    today = clock.today(Mill.objects.current().zone)
    if counts_meters(task):
        words = _("It counts running hours or charges, so that its date shifts by itself: place its job when it suits.")
        raise ValidationError(words)
    _refuse_day(task, coming, to_on, today)
    order = _job_of(task, due_on)
    if coming.change:
        _end(coming.change, by)
    change = ChangedDate.objects.create(
        standing_task=task, due_on=due_on, moved_to_on=to_on, why=why.strip(), at=clock.now(), by=by
    )
    task = StandingTask.objects.select_related("kiln", "sheet").get(pk=task.pk)
    if order is not None:
        _take_along(order, task, due_on, why, by)
    said = Sentence.of("task.date_moved", from_on=coming.on, to_on=to_on)
    _counted_anew(task, "date moved", said, why, by)
    return change


@transaction.atomic
def take_change_back(change: ChangedDate, *, by: User | None) -> ChangedDate:
    """Let a date stand again as the series has it; its job is raised anew by the day's work, or moves back.

    Raises ValidationError where its job has begun, or work was done since.
    """
    require(by, RIGHT)
    Mill.objects.select_for_update().get()
    task = (
        StandingTask.objects.select_for_update(of=("self",))
        .select_related("kiln", "sheet")
        .get(pk=change.standing_task_id)
    )
    change = ChangedDate.objects.select_for_update().get(pk=change.pk)
    if change.taken_back_at is not None:
        return change
    if task.last_done_on and (task.last_done_on >= change.due_on or task.last_due_on == change.due_on):
        words = _("It was done on %(on)s since: the date is dealt with.")
        raise ValidationError(words % {"on": _day(task.last_done_on)})
    order = None if change.is_skipped else _job_of(task, change.due_on)
    _end(change, by)
    task = StandingTask.objects.select_related("kiln", "sheet").get(pk=task.pk)
    said = Sentence.of("task.date_stands", due_on=change.due_on)
    if order is not None:
        _take_along(order, task, change.due_on, "", by, said)
    _counted_anew(task, "change of a date taken back", said, "", by)
    return change


def _opened(task: StandingTask, due_on: date, why: str, version: int, by: User | None) -> tuple[StandingTask, Coming]:
    """Lock a task beside the day's run, and return it with the date that is to be changed."""
    require(by, RIGHT)
    # The day's run, which raises work for dates, holds the mill's row.
    Mill.objects.select_for_update().get()
    row = locked_task(task, version)
    if not why.strip():
        raise ValidationError({"why": _("Say why: whoever looks for the work will ask.")})
    if not row.is_active:
        raise ValidationError(_("It recurs no longer: there is no date to change."))
    try:
        coming, _reason = coming_dates(row, clock.today(Mill.objects.current().zone))
    except ValueError as fault:
        raise ValidationError(_("Its rule cannot be followed: %(why)s") % {"why": fault}) from None
    found = next((one for one in coming if one.due_on == due_on), None)
    if found is None:
        raise ValidationError(
            _("%(on)s is no coming date of it any more: look at its dates again.") % {"on": _day(due_on)}
        )
    if found.change and found.change.is_skipped:
        raise ValidationError(_("%(on)s is skipped already: take that back first.") % {"on": _day(due_on)})
    return row, found


def _refuse_day(task: StandingTask, coming: Coming, to_on: date, today: date) -> None:
    dates, _reason = coming_dates(task, today)
    place = next(index for index, one in enumerate(dates) if one.due_on == coming.due_on)
    before = dates[place - 1].on if place else task.last_done_on
    after = dates[place + 1].on if place + 1 < len(dates) else None
    fault = ""
    if to_on < today:
        fault = _("This day is over. Choose one from today on.")
    elif to_on in (coming.on, coming.due_on):
        fault = _("It is due on that day already, or was before it was moved: then take the change back.")
    elif is_safety(task) and to_on > last_day(task, coming.due_on):
        words = _("It is safety work: %(last)s is the last day on which it may be done.")
        fault = words % {"last": _day(last_day(task, coming.due_on))}
    elif before is not None and to_on <= before:
        fault = _("It was or is to be done on %(on)s too: choose a later day, or skip one.") % {"on": _day(before)}
    elif after is not None and to_on >= after:
        fault = _("On %(on)s it is due again: choose an earlier day, or skip one.") % {"on": _day(after)}
    if fault:
        raise ValidationError({"to_on": fault})


def _job_of(task: StandingTask, due_on: date) -> WorkOrder | None:
    """Return the job that is raised for a date; refuse where it has begun or others ask for it too."""
    raised = task.work_orders.exclude(state=WorkOrder.State.WITHDRAWN).filter(occurrence_on=due_on)
    order: WorkOrder | None = raised.select_related("kiln__mill", "defect").first()
    if order is None:
        return None
    told = {"number": order.number, "state": order.get_state_display()}
    if order.state not in WorkOrder.BEFORE_START:
        raise ValidationError(_("%(number)s for this date is %(state)s: it stays as it is.") % told)
    if len(origins_of(order)) > 1:
        raise ValidationError(
            _("%(number)s was raised for this date and for others too: change or withdraw that job itself.") % told
        )
    return order


def _take_along(order: WorkOrder, task: StandingTask, due_on: date, why: str, by: User | None, *said: Sentence) -> None:
    """Let the job of a date be due when the date is."""
    today = clock.today(Mill.objects.current().zone)
    earliest_on, latest_on = window_of(task, due_on, today, histories_for([task], today))
    wanted = Particulars(
        title=order.title,
        due_at=end_of_day(moved_on(task, due_on)),
        earliest_at=clock.start_of_day(earliest_on, Mill.objects.current().zone),
        hours=order.hours,
        crew=order.crew,
        cost_of_delay_per_day=order.cost_of_delay_per_day,
        safety_at=end_of_day(latest_on) if order.safety_at else None,
    )
    change_particulars(order, wanted, why=why, said=said, by=by)


def _end(change: ChangedDate, by: User | None) -> None:
    change.taken_back_at, change.taken_back_by = clock.now(), by
    change.save(update_fields=["taken_back_at", "taken_back_by"])


def _counted_anew(task: StandingTask, act: str, said: Sentence, why: str, by: User | None) -> None:
    """Work out the next date, and write the history."""
    row = StandingTask.objects.select_related("kiln", "sheet").get(pk=task.pk)
    for trouble in refresh_due([row], clock.today(Mill.objects.current().zone)):
        raise ValidationError(trouble.why)
    row.version += 1
    row.save(update_fields=["version"])
    Change.record(row, act, by=by, said=said, note=why.strip())


def _day(on: date) -> str:
    return date_format(on, "D j M Y")
