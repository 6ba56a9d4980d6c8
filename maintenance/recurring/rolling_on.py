"""Recurring tasks: when they fall due, what was missed, the work raised for them, and what their completion moves."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal

from django.db import transaction
from django.db.models import Max, Min, Q
from django.db.models.functions import Coalesce

from inventory.models import Reservation
from inventory.querysets import FORESEEN
from maintenance.models import ChangedDate, MissedOccurrence, StandingTask, WorkOrder
from maintenance.orders.raising import choose_part
from maintenance.recurring.calculations.calendar_rules import MonthEnd, Unit
from maintenance.recurring.calculations.meters import Charge as PlannedCharge
from maintenance.recurring.calculations.meters import Limit, MeterHistory, Reading, readings_from_charges
from maintenance.recurring.calculations.passing_over import pass_over
from maintenance.recurring.calculations.past_work import Begun, Completion, PassedOver
from maintenance.recurring.calculations.recurrence import next_dates, next_due
from maintenance.recurring.calculations.resets import Reset
from maintenance.recurring.calculations.rolling import roll_forward
from maintenance.recurring.calculations.schedules import NextDue, Schedule, schedule_from_fields
from maintenance.recurring.changed_dates import (
    as_moved,
    as_skipped,
    judged_from_where_it_was_moved,
    moved_on,
    series_on,
    skipped_by_meter,
    standing_changes,
    without_skipped,
)
from maintenance.recurring.occurrences import raise_occurrence
from plant import clock
from plant.access import require
from plant.basics.sentences import Sentence, typed
from plant.charges.calculations.charge_phases import RUNNING_PHASES
from plant.models import Change, Charge, MeterReading, Mill, User

Histories = Mapping[int, tuple[MeterHistory, ...]]

# The words of the records and those of the calculations.
UNITS = {StandingTask.Unit.DAY: Unit.DAYS, StandingTask.Unit.WEEK: Unit.WEEKS, StandingTask.Unit.MONTH: Unit.MONTHS}
MONTH_ENDS = {
    StandingTask.MonthEnd.LAST_DAY: MonthEnd.LAST_DAY,
    StandingTask.MonthEnd.SKIP: MonthEnd.LEAVE_OUT,
    StandingTask.MonthEnd.NEXT_FIRST: MonthEnd.FIRST_OF_NEXT,
}
RESETS = {StandingTask.Reset.ANCHORED: Reset.ANCHORED, StandingTask.Reset.COMPLETION: Reset.FROM_COMPLETION}
# Work without a window may be done so long before its date, at most half its interval. Our own choice.
MOST_DAYS_EARLY = 14
DAYS_OF = {StandingTask.Unit.DAY: 1, StandingTask.Unit.WEEK: 7, StandingTask.Unit.MONTH: 28}
# The meters by which windows may be given, as the fields call them.
METERS = ("running_h", "charges")
# So many predicted dates of one task are looked at within the horizon.
MOST_FORESEEN = 60


@dataclass(frozen=True)
class Trouble:
    """A recurring task whose rule cannot be followed, and why."""

    task: StandingTask
    why: str


@dataclass(frozen=True)
class Rolled:
    """What rolling the recurring tasks forward did."""

    raised: tuple[WorkOrder, ...]
    missed: int
    following: int
    troubles: tuple[Trouble, ...]


def schedule_of(task: StandingTask) -> Schedule:
    """Return a recurring task's schedule. Raises ValueError where its fields contradict each other."""
    return schedule_from_fields(
        anchor_on=task.anchor_on,
        rrule=task.rrule,
        every=task.every,
        unit=UNITS[StandingTask.Unit(task.every_unit)] if task.every_unit else "",
        month_end=MONTH_ENDS[StandingTask.MonthEnd(task.month_end)],
        every_running_hours=task.every_running_h,
        every_charges=task.every_charges,
        window_before_days=task.window_before_days,
        window_after_days=task.window_after_days,
        window_before_hours=task.window_before_running_h,
        window_after_hours=task.window_after_running_h,
        window_before_charges=task.window_before_charges,
        window_after_charges=task.window_after_charges,
        reset_early=RESETS[StandingTask.Reset(task.reset_early)],
        reset_inside=RESETS[StandingTask.Reset(task.reset_inside)],
        reset_late=RESETS[StandingTask.Reset(task.reset_late)],
    )


def last_done(task: StandingTask) -> Completion | None:
    """Return the last completion of a task, with what it had been due at where that is known."""
    if task.last_done_on is None:
        return None
    if not counts_meters(task) and task.last_due_on is None and task.anchor_on > task.last_done_on:
        # A first date that was set after the last work is the next date, whatever was done before.
        return None
    done = Completion(
        done_on=task.last_done_on,
        hours=_number(task.last_done_running_h),
        charges=_number(task.last_done_charges),
        due_on=task.last_due_on,
        due_hours=_number(task.last_due_running_h),
        due_charges=_number(task.last_due_charges),
    )
    return done if counts_meters(task) else judged_from_where_it_was_moved(task, done)


def begun(task: StandingTask) -> Begun:
    """Return when a task was entered and what was withdrawn or skipped since the last work."""
    passed = skipped_by_meter(task) if counts_meters(task) else None
    if task.passed_over_on and (passed is None or passed.on <= task.passed_over_on):
        hours, charges = _number(task.passed_over_running_h), _number(task.passed_over_charges)
        passed = PassedOver(task.passed_over_on, hours, charges)
    return Begun(task.entered_on, passed)


def _number(value: Decimal | int | None) -> float | None:
    return None if value is None else float(value)


def meter_histories(kiln_ids: Iterable[int], day: date) -> dict[int, tuple[MeterHistory, ...]]:
    """Return kiln id -> its running hours and charges, read and planned; two queries for any number of kilns.

    A kiln without a meter has its running hours from its charges.
    """
    ids = set(kiln_ids)
    if not ids:
        return {}
    zone = Mill.objects.current().zone
    readings: dict[int, list[Reading]] = defaultdict(list)
    for read in MeterReading.objects.filter(kiln__in=ids).order_by("read_at", "is_new_meter"):
        on = read.read_at.astimezone(zone).date()
        readings[read.kiln_id].append(Reading(on, float(read.running_h), read.is_new_meter))
    past: dict[int, list[PlannedCharge]] = defaultdict(list)
    ahead: dict[int, list[PlannedCharge]] = defaultdict(list)
    is_running = Q(phases__kind__in=sorted(RUNNING_PHASES))
    charges = Charge.objects.filter(kiln__in=ids).annotate(
        runs_from_at=Coalesce(Min("phases__begin_at", filter=is_running), "begin_at"),
        runs_to_at=Coalesce(Max("phases__end_at", filter=is_running), "end_at"),
    )
    columns = ("kiln_id", "number", "basis", "begin_at", "end_at", "runs_from_at", "runs_to_at")
    for kiln_id, number, basis, begin_at, end_at, runs_from_at, runs_to_at in charges.order_by(
        "kiln_id", "begin_at"
    ).values_list(*columns):
        starts_on, ends_on = begin_at.astimezone(zone).date(), end_at.astimezone(zone).date()
        is_over = basis == Charge.Basis.DONE and ends_on <= day
        run = runs_to_at - runs_from_at
        # What should have ended and has not will end today at the earliest.
        planned = PlannedCharge(
            starts_on, ends_on if is_over else max(ends_on, day), run.total_seconds() / 3600, number
        )
        (past if is_over else ahead)[kiln_id].append(planned)
    return {kiln_id: _histories(readings[kiln_id], past[kiln_id], ahead[kiln_id]) for kiln_id in ids}


def _histories(
    readings: list[Reading], past: list[PlannedCharge], ahead: list[PlannedCharge]
) -> tuple[MeterHistory, ...]:
    hours = tuple(readings) or readings_from_charges(past, Limit.RUNNING_HOURS)
    counted = readings_from_charges(past, Limit.CHARGES)
    return (
        MeterHistory(Limit.RUNNING_HOURS, hours, tuple(ahead)),
        MeterHistory(Limit.CHARGES, counted, tuple(ahead)),
    )


def counts_meters(task: StandingTask) -> bool:
    """Say whether running hours or charges decide when a task falls due."""
    return bool(task.every_running_h or task.every_charges)


def histories_for(tasks: Iterable[StandingTask], day: date) -> dict[int, tuple[MeterHistory, ...]]:
    """Return the meters of the kilns that these tasks count by."""
    return meter_histories({task.kiln_id for task in tasks if counts_meters(task)}, day)


def due_of(task: StandingTask, day: date, histories: Histories) -> NextDue:
    """Work out when a task falls due next, past what is skipped. Raises ValueError for a rule nobody can follow."""
    schedule, done, since = schedule_of(task), last_done(task), begun(task)
    kept, changes = histories.get(task.kiln_id, ()), standing_changes(task)
    due = next_due(schedule, done, day, kept, since)
    if counts_meters(task):
        return due
    while due.due_on in changes and changes[due.due_on].is_skipped:
        skipped = changes[due.due_on]
        due = as_skipped(
            next_due(schedule, done, day, kept, replace(since, passed_over=PassedOver(skipped.due_on))), skipped
        )
    return as_moved(task, due)


def dates_of(task: StandingTask, after: date, count: int, histories: Histories) -> list[date]:
    """Return the next dates of a task after a day. Raises ValueError for a rule that cannot be followed."""
    kept = histories.get(task.kiln_id, ())
    return next_dates(schedule_of(task), after, count, last_done(task), kept, begun(task))


@transaction.atomic
def refresh_due(tasks: Collection[StandingTask], day: date, histories: Histories | None = None) -> list[Trouble]:
    """Work out the next date of every task and keep it; return those whose rule cannot be followed."""
    known = histories_for(tasks, day) if histories is None else histories
    changed, troubles = [], []
    for task in tasks:
        try:
            due = due_of(task, day, known)
        except ValueError as fault:
            troubles.append(Trouble(task, str(fault)))
            continue
        fresh = (due.due_on, due.reason)
        if fresh != (task.next_due_on, task.next_due_why):
            task.next_due_on, task.next_due_why = fresh
            changed.append(task)
    StandingTask.objects.bulk_update(changed, ["next_due_on", "next_due_why"], batch_size=500)
    return troubles


@transaction.atomic
def complete(
    standing_task: StandingTask,
    done_on: date,
    *,
    by: User | None = None,
    work_order: WorkOrder | None = None,
    running_h: Decimal | None = None,
    charges: int | None = None,
) -> NextDue | None:
    """Record that a recurring task was done, and count on by its reset rules; None where later work is on record.

    Readings that are not given are the last ones up to that day. Raises ValueError for a rule that cannot be followed.
    """
    require(by, "do work")
    task = StandingTask.objects.select_for_update().select_related("kiln").get(pk=standing_task.pk)
    if task.last_done_on and done_on < task.last_done_on:
        return None
    day = clock.today(Mill.objects.current().zone)
    histories = histories_for([task], day)
    due_before = due_of(task, done_on, histories)
    before = {"last_done_on": str(task.last_done_on), "next_due_on": str(task.next_due_on)}
    # The anchor that the date rested on, which a withdrawn occurrence may have moved.
    task.anchor_on = due_before.anchor_on or task.anchor_on
    _keep_completion(task, done_on, due_before, histories, running_h, charges)
    due = due_of(task, day, histories)
    task.anchor_on = due.anchor_on or task.anchor_on
    task.next_due_on, task.next_due_why = due.due_on, due.reason
    task.version += 1
    task.save()
    record_missed([task], day, {task.pk: due.missed_on})
    said = Sentence.of("task.done", job=work_order.number) if work_order else ()
    after = {"last_done_on": str(done_on), "next_due_on": str(task.next_due_on)}
    Change.record(task, "done", by=by, before=before, after=after, said=said)
    standing_task.refresh_from_db()
    return due


def _keep_completion(
    task: StandingTask,
    done_on: date,
    due_before: NextDue,
    histories: Histories,
    running_h: Decimal | None,
    charges: int | None,
) -> None:
    """Write down what was done, with the readings, and what it had been due at."""

    def reading(limit: Limit) -> float | None:
        found = [h for h in histories.get(task.kiln_id, ()) if h.limit is limit]
        earlier = [read.value for read in found[0].ordered if read.read_on <= done_on] if found else []
        return earlier[-1] if earlier else None

    hours_read, charges_read = reading(Limit.RUNNING_HOURS), reading(Limit.CHARGES)
    by_limit = {limit: due_before.limit(limit) for limit in Limit}
    calendar, hours, counted = by_limit[Limit.CALENDAR], by_limit[Limit.RUNNING_HOURS], by_limit[Limit.CHARGES]
    task.last_done_on = done_on
    task.last_done_running_h = running_h if running_h is not None else as_quantity(hours_read)
    task.last_done_charges = charges if charges is not None else _whole(charges_read)
    task.last_due_on = (calendar.stands_for_on or calendar.due_on) if calendar else None
    task.last_due_running_h = as_quantity(hours.due_reading) if hours else None
    task.last_due_charges = _whole(counted.due_reading) if counted else None
    task.passed_over_on = task.passed_over_running_h = task.passed_over_charges = None


def as_quantity(value: float | None) -> Decimal | None:
    """Return a use as it is kept, never below 0."""
    return None if value is None else round(Decimal(max(value, 0)), 3)


def _whole(value: float | None) -> int | None:
    return None if value is None else max(round(value), 0)


@transaction.atomic
def pass_occurrence_over(work_order: WorkOrder, *, by: User | None) -> None:
    """Let the occurrence of a withdrawn work order count as dealt with: it is not raised again, the next one counts on.

    Raises ValueError for a rule that cannot be followed.
    """
    if work_order.standing_task_id is None or work_order.occurrence_on is None:
        return
    task = StandingTask.objects.select_for_update().select_related("kiln").get(pk=work_order.standing_task_id)
    if task.last_done_on and work_order.occurrence_on <= task.last_done_on:
        return
    day = clock.today(Mill.objects.current().zone)
    histories = histories_for([task], day)
    before = {"next_due_on": str(task.next_due_on), "withdrawn_on": str(task.passed_over_on)}
    passed = pass_over(schedule_of(task), due_of(task, day, histories), work_order.occurrence_on, day)
    task.passed_over_on = passed.on
    task.passed_over_running_h, task.passed_over_charges = as_quantity(passed.hours), as_quantity(passed.charges)
    due = due_of(task, day, histories)
    task.next_due_on, task.next_due_why = due.due_on, due.reason
    task.version += 1
    task.save()
    after = {"next_due_on": str(task.next_due_on), "withdrawn_on": str(passed.on)}
    said = Sentence.of("task.withdrawn", job=work_order.number, why=typed(work_order.withdrawn_why))
    Change.record(task, "occurrence withdrawn", by=by, before=before, after=after, said=said)


def record_missed(tasks: Iterable[StandingTask], day: date, missed: Mapping[int, Sequence[date]]) -> int:
    """Record dates that passed, windows and all, without work; return how many are new.

    What passed before a task was entered was nobody's to do.
    """
    over = {
        (task.pk, on)
        for task in tasks
        for on in missed.get(task.pk, ())
        if on >= task.entered_on and on + timedelta(days=task.window_after_days) < day
    }
    known = MissedOccurrence.objects.filter(standing_task__in={pk for pk, _on in over})
    fresh = over - set(known.values_list("standing_task_id", "due_on"))
    MissedOccurrence.objects.bulk_create(
        [MissedOccurrence(standing_task_id=pk, due_on=on, recorded_at=clock.now()) for pk, on in sorted(fresh)],
        batch_size=500,
        ignore_conflicts=True,
    )
    return len(fresh)


@transaction.atomic
def roll(day: date) -> Rolled:
    """Roll all recurring tasks forward over the horizon: dates, missed ones, work orders, parts foreseen.

    At most one work order of a task is open at a time: the next occurrence, or the catch-up for those that were missed.
    """
    mill = Mill.objects.select_for_update().get()
    until_on = day + timedelta(days=mill.horizon_days)
    active = StandingTask.objects.in_use().filter(kiln__is_active=True, sheet__withdrawn_at__isnull=True)
    tasks = list(
        active.select_related("kiln", "component", "sheet").prefetch_related(
            "sheet__parts__part_kind", "sheet__steps", "sheet__skills", "changed_dates"
        )
    )
    histories = histories_for(tasks, day)
    # A calendar date stands until the work is done; only meters run on by themselves.
    moving = [task for task in tasks if counts_meters(task) or task.next_due_on is None]
    troubles = refresh_due(moving, day, histories)
    ill = {trouble.task.pk for trouble in troubles}
    sound = [task for task in tasks if task.pk not in ill]
    further = _further_dates(sound, day, until_on, histories)
    late = [task for task in sound if task.next_due_on and task.next_due_on < day]
    missed = {task.pk: [on for on in further[task.pk] if on < day] for task in late}
    count = record_missed(late, day, missed)
    raised = _raise_due(sound, day, until_on, further, histories)
    following = {task.pk: [moved_on(task, on) for on in further[task.pk] if on >= day] for task in sound}
    foresee_parts(sound, following)
    return Rolled(tuple(raised), count, sum(len(dates) for dates in following.values()), tuple(troubles))


def _further_dates(
    tasks: Sequence[StandingTask], day: date, until_on: date, histories: Histories
) -> dict[int, list[date]]:
    """Return task id -> the dates of its series after the next one that are not skipped, up to the horizon's end."""
    plain = [task for task in tasks if not counts_meters(task)]
    series = {task.pk: series_on(task, task.next_due_on) for task in plain if task.next_due_on}
    from_on = min([*series.values(), day])
    rolled = roll_forward([schedule_of(task) for task in plain], from_on, until_on)
    further = {
        task.pk: without_skipped(task, (on for on in dates if task.pk in series and on > series[task.pk]))
        for task, dates in zip(plain, rolled.lists(), strict=True)
    }
    for task in tasks:
        if counts_meters(task):
            after = task.next_due_on
            dates = dates_of(task, max(after, day), MOST_FORESEEN, histories) if after and after <= until_on else []
            further[task.pk] = [on for on in dates if on <= until_on]
    return further


def _raise_due(
    tasks: Sequence[StandingTask],
    day: date,
    until_on: date,
    further: Mapping[int, Sequence[date]],
    histories: Histories,
) -> list[WorkOrder]:
    of_tasks = WorkOrder.objects.filter(standing_task__in=tasks)
    open_tasks = set(of_tasks.unfinished().values_list("standing_task_id", flat=True))
    # Withdrawn as its date was skipped, and that was taken back: the date is free again.
    freed = ChangedDate.objects.filter(taken_back_at__isnull=False, work_order__isnull=False).values("work_order")
    taken = set(of_tasks.exclude(pk__in=freed).values_list("standing_task_id", "occurrence_on"))
    raised = []
    for task in sorted(tasks, key=lambda task: (task.next_due_on or date.max, task.pk)):
        if task.pk in open_tasks or task.next_due_on is None:
            continue
        # An occurrence whose work order was withdrawn is over; the next one takes its place.
        dates = [series_on(task, task.next_due_on), *further[task.pk]]
        due_on = next((on for on in dates if (task.pk, on) not in taken), None)
        if due_on is not None and moved_on(task, due_on) <= until_on:
            window = window_of(task, due_on, day, histories)
            order = raise_occurrence(task, moved_on(task, due_on), *window, occurrence_on=due_on)
            raised += [order] if order else []
    return raised


def window_of(task: StandingTask, due_on: date, day: date, histories: Histories) -> tuple[date, date]:
    """Return the first and the last day of an occurrence's window; those of hours and charges are predicted.

    One that was moved has its window round the day it was moved to; the last day of safety work stays.
    """
    if (to_on := moved_on(task, due_on)) != due_on:
        after = timedelta(days=task.window_after_days)
        last_on = (due_on if task.is_safety or task.sheet.is_safety else to_on) + after
        return to_on - timedelta(days=days_early(task)), max(last_on, to_on)
    earliest_on = due_on - timedelta(days=days_early(task))
    latest_on = due_on + timedelta(days=task.window_after_days)
    if not any(getattr(task, f"window_{side}_{meter}") for side in ("before", "after") for meter in METERS):
        return earliest_on, latest_on
    due = due_of(task, day, histories)
    if due.due_on != due_on:
        return earliest_on, latest_on
    first = due.limits[0]
    if due.is_predicted and first.earliest_on and any(getattr(task, f"window_before_{meter}") for meter in METERS):
        earliest_on = min(first.earliest_on, due_on)
    return earliest_on, due.latest_on or latest_on


def days_early(task: StandingTask) -> int:
    """Return how many days before its date the work may be done: its window, else half its interval at most."""
    if task.window_before_days:
        return task.window_before_days
    interval_days = (task.every or 0) * DAYS_OF[StandingTask.Unit(task.every_unit)] if task.every_unit else 7
    return min(MOST_DAYS_EARLY, interval_days // 2)


@transaction.atomic
def foresee_parts(tasks: Sequence[StandingTask], following: Mapping[int, Sequence[date]]) -> None:
    """Keep the parts that later occurrences will want as foreseen need, so that orders look ahead to them.

    They claim nothing on the shelf; what is no longer foreseen is deleted.
    """
    chosen: dict[tuple[int, int], int | None] = {}
    wanted: dict[tuple[str, int], Reservation] = {}
    for task in tasks:
        for need in task.sheet.parts.all():
            kinds = (need.part_kind_id, task.sheet.kind_id)
            if kinds not in chosen:
                part = choose_part(*kinds)
                chosen[kinds] = part.pk if part else None
            part_id = chosen[kinds]
            if part_id is None:
                continue
            for on in following[task.pk]:
                source = f"{FORESEEN}{task.pk}-{on:%Y-%m-%d}"
                wanted[source, part_id] = Reservation(
                    part_id=part_id,
                    quantity=need.quantity,
                    needed_on=on,
                    source=source,
                    purpose=f"{task.kiln.tag}: {task.sheet.title}"[:160],
                    created_at=clock.now(),
                )
    known = {(row.source, row.part_id): row for row in Reservation.objects.still_wanted().foreseen()}
    gone = [row.pk for key, row in known.items() if key not in wanted or row.quantity != wanted[key].quantity]
    for start in range(0, len(gone), 500):
        Reservation.objects.filter(pk__in=gone[start : start + 500]).delete()
    kept = {key for key, row in known.items() if row.pk not in set(gone)}
    Reservation.objects.bulk_create([row for key, row in wanted.items() if key not in kept], batch_size=500)
