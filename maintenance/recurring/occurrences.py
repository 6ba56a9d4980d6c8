"""Work raised for an occurrence of a recurring task: a work order of its own, or a part in one that is open for it."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta

from maintenance.models import StandingTask, WorkOrder
from maintenance.orders.joining import Asked, components_for, join, same_work
from maintenance.orders.raising import extend_to, raise_work_order
from plant import clock
from plant.basics.sentences import Sentence
from plant.models import Component, Mill
from plant.warnings.running_bars import lock_kiln


def raise_occurrence(
    task: StandingTask, due_on: date, earliest_on: date, latest_on: date, *, occurrence_on: date | None = None
) -> WorkOrder | None:
    """Raise the work order of an occurrence; None where it joined one that was open for the same work.

    ``occurrence_on`` is the date of the series, where the work is due on another.

    A task that names no component is done on each of its kind, and the order says which. Where work is open for some of
    them, that order is joined, and covers the others as well unless it is under way.
    """
    lock_kiln(task.kiln_id)
    components = components_for(task)
    open_for = {one.pk: order for one in components if (order := same_work(task.kiln, one, task.sheet))}
    order = next((order for order in open_for.values() if order.standing_task_id is None), None)
    rest = [one for one in components if one.pk not in open_for]
    is_safety = task.is_safety or task.sheet.is_safety
    if order is not None and (not rest or order.state in WorkOrder.BEFORE_START):
        if rest:
            extend_to(order, rest)
            order.title = _title(task, components)
        due = Sentence.of("raised.task_due", task=str(task), due_on=due_on)
        join(
            order,
            Asked(
                origin=WorkOrder.Origin.STANDING_TASK,
                why=(due, *task.next_due_why),
                due_at=end_of_day(due_on),
                earliest_at=clock.start_of_day(earliest_on, Mill.objects.current().zone),
                cost_of_delay_per_day=task.cost_of_delay_per_day,
                standing_task=task,
                occurrence_on=occurrence_on or due_on,
            ),
            by=None,
        )
        return None
    if components and not rest:
        # Each is being done by another work order of its own; the occurrence is raised once those are over.
        return None
    elsewhere = [
        Sentence.of("raised.elsewhere", component=one.name, job=open_for[one.pk].number)
        for one in components
        if one.pk in open_for
    ]
    return raise_work_order(
        kiln=task.kiln,
        title=_title(task, rest),
        origin=WorkOrder.Origin.STANDING_TASK,
        due_at=end_of_day(due_on),
        component=rest[0] if len(rest) == 1 else None,
        covers=rest if len(rest) > 1 else (),
        sheet=task.sheet,
        standing_task=task,
        occurrence_on=occurrence_on or due_on,
        is_safety=is_safety,
        safety_at=end_of_day(latest_on) if is_safety else None,
        cost_of_delay_per_day=task.cost_of_delay_per_day,
        why=(*task.next_due_why, *elsewhere),
        earliest_at=clock.start_of_day(earliest_on, Mill.objects.current().zone),
    )


def _title(task: StandingTask, components: Sequence[Component]) -> str:
    """Say which, where a kiln has several of the kind."""
    if len(components) < 2:
        return task.sheet.title
    return f"{task.sheet.title} ({', '.join(one.name for one in components)})"[:160]


def end_of_day(day: date) -> datetime:
    """Return the last minute of a local day: shown, it is still that day."""
    return clock.start_of_day(day + timedelta(days=1), Mill.objects.current().zone) - timedelta(minutes=1)
